"""The bench page: server-rendered pages over the workflow."""
