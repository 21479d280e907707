"""What the pages show: the desk that works it out, and how it is put on a page."""
