"""Commands of the office: surveys made, tables in and out, reports, rulings."""
