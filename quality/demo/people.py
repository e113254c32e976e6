"""Who works at the invented smallholding, and their fresh passwords."""

from __future__ import annotations

import json
import os
import secrets
from decimal import Decimal
from pathlib import Path

from producer.models import Premises, Right
from producer.services import people
from quality.demo.scene import Scene

TIME_ZONE = "Europe/London"
OWNER, HELPER, REVIEWER, AUDITOR, FORMER = "maren", "tobin", "isolde", "rafe", "wilf"
NAMES = {
    OWNER: "Maren Tallowick",
    HELPER: "Tobin Quillfeather",
    REVIEWER: "Isolde Penhaligrew",
    AUDITOR: "Rafe Underbeck",
    FORMER: "Wilf Garthmoor",
}
RIGHTS = {
    OWNER: {Right.OWNER, Right.MAKER},
    HELPER: {Right.MAKER},
    REVIEWER: {Right.REVIEWER},
    AUDITOR: {Right.AUDITOR},
    FORMER: {Right.MAKER},
}
CONSONANTS, VOWELS = "bdfghkmnprstvz", "aeiou"


def premises() -> Premises:
    """Return the invented premises; its numbers belong to nobody.

    Ofcom keeps 01632 960000 to 960999 for invented people; .example is kept for the
    same by RFC 2606.
    """
    return Premises(
        name="Hollinmere Croft",
        address="Quillbeck Lane\nNether Hollinmere",
        phone="01632 960114",
        email="croft@hollinmere.example",
        poison_centre="01632 960999 (invented for the demo)",
        time_zone=TIME_ZONE,
        water_hardness=Decimal("2.4"),
        currency="£",
    )


def move_in(scene: Scene) -> None:
    """Set the premises up by its first owner, who opens accounts for the others."""
    scene.passwords = {username: new_password() for username in NAMES}
    scene.users[OWNER] = people.set_up(
        code=people.make_setup_code(),
        premises=premises(),
        name=NAMES[OWNER],
        username=OWNER,
        password=scene.passwords[OWNER],
        rights=RIGHTS[OWNER],
    )
    for username in (HELPER, REVIEWER, AUDITOR, FORMER):
        scene.clock.wait(4)
        scene.users[username] = people.add_account(
            by=scene.users[OWNER],
            username=username,
            password=scene.passwords[username],
            name=NAMES[username],
            rights=RIGHTS[username],
        )
        _change_password(scene, username)


def _change_password(scene: Scene, username: str) -> None:
    """Let a person change the password that the owner knows, as each should at once."""
    scene.clock.wait(1)
    current, scene.passwords[username] = scene.passwords[username], new_password()
    user = scene.users[username]
    scene.users[username] = people.change_password(
        by=user,
        user=user,
        current_password=current,
        password=scene.passwords[username],
    )


def say_goodbye(scene: Scene) -> None:
    """Close the account of the helper who left; the name stays on the records."""
    people.deactivate(
        by=scene.users[OWNER],
        user=scene.users[FORMER],
        reason="Wilf has gone to sea; his key is back on the hook.",
    )


def new_password() -> str:
    """Return a password that can be read off a screen: 14^6 · 5^6 · 900, 49 bits."""
    syllables = [secrets.choice(CONSONANTS) + secrets.choice(VOWELS) for _ in range(6)]
    pairs = ("".join(syllables[at : at + 2]) for at in (0, 2, 4))
    return f"{'-'.join(pairs)}-{secrets.randbelow(900) + 100}"


def write_logins(scene: Scene, path: Path) -> None:
    """Write who may sign in, with the passwords, to a file only we may read."""
    logins = [
        {
            "username": username,
            "password": scene.passwords[username],
            "name": NAMES[username],
            "rights": [right.label for right in Right if right in RIGHTS[username]],
        }
        for username in (OWNER, HELPER, REVIEWER, AUDITOR)
    ]
    path.parent.mkdir(parents=True, exist_ok=True)
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    os.fchmod(handle, 0o600)  # also where the file was there before
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        json.dump(logins, file, ensure_ascii=False, indent=2)
