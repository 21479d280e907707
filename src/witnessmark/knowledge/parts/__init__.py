"""What a pack file may hold, part by part: the records are the schema."""
