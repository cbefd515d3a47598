"""The studio's settings with a data folder of their own, fast passwords, plain static files.

The test database is the file that these settings name, so that a real worker or web process
started by a test finds the same rows: it inherits STUDIO_DATA, and runs with the studio's own
settings, not with these. The folder goes at the end.
"""

import atexit
import os
import shutil
import tempfile

# What the shell has set must not change what is tested.
for _name in ("SECRET_KEY", "DEBUG", "HTTPS", "PROXY", "ALLOWED_HOSTS", "BROKER_URL", "TIME_ZONE"):
    os.environ.pop(_name, None)
for _name in ("OBJECT_STORE", "MEDIA_BY_NGINX", "EMAIL_URL", "METRICS_TOKEN"):
    os.environ.pop(_name, None)
for _name in ("FOLDER", "RECIPIENT", "IDENTITY", "KEEP", "ERASED_DAYS", "PASSPHRASE"):
    os.environ.pop(f"BACKUP_{_name}", None)
os.environ["STUDIO_DATA"] = tempfile.mkdtemp(prefix="studio-tests-")
atexit.register(shutil.rmtree, os.environ["STUDIO_DATA"], ignore_errors=True)

from studio.settings import *  # noqa: E402, F403
from studio.settings import DATABASES, STORAGES  # noqa: E402

DATABASES["default"].setdefault("TEST", {})
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    DATABASES["default"]["TEST"]["NAME"] = DATABASES["default"]["NAME"]
    # What a test writes need not outlive the machine; processes that tests start keep to FULL.
    _options = DATABASES["default"]["OPTIONS"]
    _options["init_command"] = _options["init_command"].replace("=FULL", "=OFF")
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
STORAGES["staticfiles"]["BACKEND"] = "django.contrib.staticfiles.storage.StaticFilesStorage"
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = True
os.environ["DJANGO_SETTINGS_MODULE"] = "studio.settings"  # for the processes tests start
