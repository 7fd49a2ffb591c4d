"""An encrypted data folder for tests, at a cost that no person's folder has."""

from pathlib import Path

from pipeline.vault import Keys, use
from pipeline.vault.keyfile import Cost, create

PASSPHRASE = "seven plain wooden spoons"
CHEAP = Cost(memory_kib=64, passes=1, lanes=1)


def encrypted(home: Path) -> tuple[Keys, str]:
    """Make ``home`` an encrypted folder, unlocked in this process; its keys and its recovery key."""
    home.mkdir(parents=True, exist_ok=True)
    unlocked, recovery = create(PASSPHRASE, cost=CHEAP)
    unlocked.write(home)
    use(unlocked.keys)
    return unlocked.keys, recovery
