"""What changes: growth, mortality, fluxes, comparisons over time."""
