"""Figures of the report, drawn from the tables of ``reports.stand``; they compute nothing."""
