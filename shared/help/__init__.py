"""Help where one stands: guides for the first days and for each role, and the trade's terms."""
