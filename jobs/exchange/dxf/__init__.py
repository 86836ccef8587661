"""Plans as DXF drawings: import and export."""
