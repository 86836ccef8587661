"""Storage of the collected static files."""

from whitenoise.storage import CompressedManifestStaticFilesStorage

# The `from "./lengths.js"` of an import statement.
MODULE_IMPORT = (r'(?P<matched>from\s+"(?P<url>\./[^"]+)")', 'from "%(url)s"')


class HashedStaticStorage(CompressedManifestStaticFilesStorage):  # type: ignore[misc]
    """Store static files under hashed names, compressed.

    Imports between JavaScript modules are rewritten to the hashed names as well;
    otherwise a browser could combine modules of two versions of the program. Only in
    the program's own scripts: Django's `support_js_module_import_aggregation`
    reads the bundles of libraries too, which import files that they do not ship.
    """

    patterns = (
        *CompressedManifestStaticFilesStorage.patterns,
        *((f"{app}/*.js", (MODULE_IMPORT,)) for app in ("core", "jobs", "checks")),
    )
