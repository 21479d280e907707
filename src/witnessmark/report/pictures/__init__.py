"""Pictures: functions from records to SVG text. No network, no script, readable in print."""
