"""The report: tables, figures and words put on pages. Nothing is computed in the pages."""
