"""The shop and its cases on disk, and the verbs that write to them."""
