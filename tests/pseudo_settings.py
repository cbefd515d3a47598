"""The studio's own settings with a second language, which everybody reads."""

from studio.settings import *  # noqa: F403
from studio.settings import LANGUAGES, MIDDLEWARE

LANGUAGES = [*LANGUAGES, ("qps", "longer")]
USE_I18N = True
MIDDLEWARE = ["tests.pseudo_locale.for_everybody", *MIDDLEWARE]
