"""Building and result documents: parser, schemas and file formats; no Django."""
