"""What each circuit holds: its places, its channels, how they read, and the causes they are."""
