"""What a restored studio needs beside its stores: the secret key and the settings.

They are secrets (passwords of servers are among them), and so only an encrypted backup has them.
Every backup has a mark of the key, by which a restore can tell whether it is the same.
"""

import hashlib
import hmac
import json
from pathlib import Path

from django.conf import settings

from studio import durable, environment

KEPT = "settings-of-the-backup"  # in the data folder, after a restore
NOT_KEPT = (
    "This backup is not encrypted, and so it does not have the secret key and the settings. Keep "
    "copies of {key} and of the studio's environment variables (/etc/studio/environment) in "
    "another safe place, or set BACKUP_RECIPIENT. Without the key everybody has to log in again "
    "after a restore, and links in letters that were sent before no longer work."
)
OTHER_KEY = (
    "This machine has another secret key than the studio that was backed up: everybody has to log "
    "in again, and links in letters that were sent before (a new password, a new address) no "
    "longer work. Passwords, codes of a phone, recovery codes and invitations do. To go on as "
    "before, put the key of then into {key} and start again."
)


def key_file() -> Path:
    return Path(settings.STUDIO_DATA) / "secret_key"


def mark() -> str:
    """Tells the secret key from others, and not what it is."""
    digest = hmac.new(settings.SECRET_KEY.encode(), b"studio backup", hashlib.sha256)
    return digest.hexdigest()[:16]


def write(path: Path) -> None:
    """Write the key and the variables that this process was given; for encrypting at once."""
    found = {
        "secret_key": settings.SECRET_KEY,
        "environment": dict(sorted(environment.variables_set.items())),
    }
    path.write_text(json.dumps(found, indent=1))


def not_kept() -> str:
    return NOT_KEPT.format(key=key_file() if key_file().exists() else "the variable SECRET_KEY")


def put_back(marked: str, found: Path | None) -> list[str]:
    """Put key and settings of a backup in their place; what an operator should know of it.

    ``marked`` is the mark of the backup's key; ``found`` its decrypted settings, if it has some.
    """
    if found is None:
        return [OTHER_KEY.format(key=key_file())] if marked and marked != mark() else []
    kept = Path(settings.STUDIO_DATA) / KEPT
    contents = json.loads(found.read_text())
    lines = [f"{name}={value}" for name, value in contents["environment"].items()]
    text = "\n".join([*lines, f"SECRET_KEY={contents['secret_key']}", ""])
    durable.write(kept, text, 0o600)
    said = [
        f"The settings of then are in {kept}; compare them with this machine's, then remove it."
    ]
    if marked == mark():
        return said
    if "SECRET_KEY" in environment.variables_set:
        return [*said, "SECRET_KEY is set to another key here: set it to the one in that file."]
    if key_file().exists():
        key_file().replace(key_file().with_name("secret_key.before-restore"))
    durable.write(key_file(), contents["secret_key"], 0o600)
    return [*said, "The secret key of then was put back: sessions and links go on working."]
