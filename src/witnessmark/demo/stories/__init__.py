"""The invented trucks, one file of entries each, and the loader that reads them."""
