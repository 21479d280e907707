"""Threaded fasteners: size, proof load, and what a torque comes to."""
