"""What is made from a journal: tables, figures, exports."""
