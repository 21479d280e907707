"""The order of the bay and the safety stops."""
