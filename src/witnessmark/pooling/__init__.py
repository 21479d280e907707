"""What many shops know together, without a customer in it: counts, blurred, signed, merged."""
