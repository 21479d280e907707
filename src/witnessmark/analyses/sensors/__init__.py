"""One trace: is it the quantity that moves, or the circuit that reads it?"""
