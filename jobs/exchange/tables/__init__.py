"""Plans and readings as tables: XLSX and CSV, in and out; no Django."""
