"""The command line: parse, one workflow call, render."""
