"""The verbs that the doors share."""
