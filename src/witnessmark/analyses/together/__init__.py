"""Several channels together: one sensor, or what several of them share?"""
