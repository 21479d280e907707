"""The pages, one module a subject, and the forms that write entries."""
