"""The physical models, one file each: a pack's ``modelled_by`` names one.

A model lives in ``<id>_model.py`` and is its ``MODEL``. These files are light; what they need is
loaded when a case has something for them to read.
"""
