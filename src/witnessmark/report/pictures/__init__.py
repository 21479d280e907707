"""Pictures: functions from records to SVG text. No script, no network, no colour code."""
