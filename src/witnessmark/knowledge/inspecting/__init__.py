"""Lists of an inspection's points: how they are read and checked."""
