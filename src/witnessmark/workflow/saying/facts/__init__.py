"""What a line tells besides readings: codes, looks and tests, work, the customer's word."""
