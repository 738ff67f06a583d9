"""The report's pages: tables, figures and words. Nothing is computed in the pages."""
