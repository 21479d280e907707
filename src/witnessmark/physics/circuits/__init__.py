"""Air, starting, charging, bus and cooling as lumped circuits."""
