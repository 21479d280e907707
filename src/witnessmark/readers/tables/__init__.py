"""Tables of text: layout, cells, times, and the recording they become."""
