"""Static files named by their content, so that browsers may keep them for ever."""

from whitenoise.storage import CompressedManifestStaticFilesStorage


class NamedByContent(CompressedManifestStaticFilesStorage):
    """Also rewrites ``import`` in ES modules, so that a module never loads an older one."""

    support_js_module_import_aggregation = True
