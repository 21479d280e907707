"""Laying the packs over one another: parts to the records that the other rooms use."""
