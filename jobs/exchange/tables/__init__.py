"""Plans and readings as XLSX and CSV files: import and export."""
