"""Pages on paper: the customer's report and the estimate, as HTML and PDF."""
