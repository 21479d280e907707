"""Cards for the bay: what is tightened, and how a job goes."""
