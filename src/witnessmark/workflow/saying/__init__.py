"""One line as it is said at the truck, and the entries that it means."""
