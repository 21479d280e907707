"""The circuits of air, starting, charging, rest, bus, cooling and stroke under another physics."""
