"""The further numbers of each kind of finding, one frozen record a kind."""
