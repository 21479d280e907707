"""A periodic inspection judged: a reading against its limits, the sheet, the certificate."""
