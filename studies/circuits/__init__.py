"""The circuits of air, starting, charging and the bus under another physics than the tool's."""
