"""Plan pages: drawing, guided form, files, revisions and differences."""
