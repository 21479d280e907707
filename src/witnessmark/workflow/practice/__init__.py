"""Practice: a virtual truck with a hidden fault, worked on the same pages, apart from the shop."""
