"""Vibration and crankshaft recordings: what it follows, damper and cylinders, before and after."""
