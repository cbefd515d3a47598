"""Static files named by their content, so that browsers may keep them for ever."""

from whitenoise.storage import CompressedManifestStaticFilesStorage

# Others' files stand alone, and what looks like an import in their comments is none.
OTHERS = ("django_htmx/", "vendor/")


class NamedByContent(CompressedManifestStaticFilesStorage):
    """Also rewrites ``import`` in our ES modules, so that none ever loads an older one."""

    support_js_module_import_aggregation = True

    def url_converter(self, name, hashed_files, template=None):
        if name.startswith(OTHERS):
            return lambda match: match[0]
        return super().url_converter(name, hashed_files, template)
