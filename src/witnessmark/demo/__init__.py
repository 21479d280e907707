"""The demo: an invented shop and the simulator that made its recordings.

Everything in this room is invented: names, trucks, complaints, readings. The circuits are the
simulator's own small models, kept apart from the physics room on purpose, so that an analysis is
never checked against the equations that made its input.
"""

from witnessmark.demo.demo_shop import build, stories

__all__ = ["build", "stories"]
