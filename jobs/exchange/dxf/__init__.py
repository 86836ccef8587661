"""Plans as DXF drawings, in and out; no Django."""
