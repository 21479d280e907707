"""The one page that the customer gets."""
