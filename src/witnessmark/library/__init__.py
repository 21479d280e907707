"""The package as a library: the names that ``import witnessmark`` hands out.

Each module here is one subject; ``witnessmark/__init__.py`` loads it when its first name is used.
"""
