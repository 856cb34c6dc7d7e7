"""A broker for a hall, set up: certificates, passwords, access list and configuration, ready to be copied beside the broker's package.

The files follow Debian's package ``mosquitto``, whose own configuration reads every file of ``/etc/mosquitto/conf.d`` and has set where
things are kept already: no key of it may stand twice.
"""

import base64
import datetime as dt
import hashlib
import json
import os
import secrets
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import serialization

from monitor.bus.broker import KINDS, ROOT, escaped, is_name
from monitor.bus.certificates import Draft, Key, new_key, pem, signed
from monitor.errors import BusError

FOLDER = "pilotlamp"
AT = f"/etc/mosquitto/{FOLDER}"
READERS = ("hall", "collector")
STATION_WRITES = (*(kind for kind in KINDS if kind != "kept"), "figures/#", "try")
LASTS = dt.timedelta(days=3650)
"""An authority of one's own, that nothing but our own programs asks: no browser's limits hold."""
BEGAN = dt.timedelta(days=30)
"""Small computers without a battery may be behind."""
ITERATIONS = 20_000
"""Of PBKDF2-SHA512: some hundredths of a second for each connection; the passwords are drawn, 144 bits each."""
OWN_ONLY, GROUP_TOO, EVERYBODY = 0o600, 0o640, 0o644

CONFIGURATION = f"""# Written by 'pilotlamp hall setup'; nothing that Debian's own mosquitto.conf says stands here again.
per_listener_settings false
allow_anonymous false
password_file {AT}/passwords
acl_file {AT}/access

# Encrypted only: there is no listener at 1883.
listener 8883
cafile {AT}/ca.crt
certfile {AT}/broker.crt
keyfile {AT}/broker.key
tls_version tlsv1.2

# As untrusted as a wire: no message larger than a payload may be, no one fills the memory.
message_size_limit 65536
max_packet_size 131072
max_inflight_messages 1000
max_queued_messages 100000
max_queued_bytes 200000000
max_connections 2000
max_keepalive 120
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class HallPlan:
    """Who is to be in which hall, and where the broker is.

    Attributes:
        hosts: Names and addresses under which the broker is asked for; the first is the one to use.
        halls: Names of the stations by hall.
    """

    hosts: Sequence[str]
    halls: Mapping[str, Sequence[str]]


def user_of(hall: str, station: str) -> str:
    """The user's name of a station."""
    return f"{escaped(hall)}+{escaped(station)}"


def set_up_hall(folder: Path, plan: HallPlan) -> list[Path]:
    """Write everything; passwords and authority of an earlier run stay as they are, so that stations can be added.

    Returns:
        What each user needs: a file of settings for each.

    Raises:
        BusError: A name cannot be used, or the folder cannot be written.
    """
    for name in (*plan.halls, *(station for stations in plan.halls.values() for station in stations)):
        if not is_name(name):
            raise BusError(f"{name!r} cannot be a name in a hall: take 1 to 80 printable characters, at most 200 once escaped")
    try:
        return _written(folder, plan)
    except OSError as error:
        raise BusError(f"{folder} cannot be written ({error.strerror}): give another folder") from error


def _written(folder: Path, plan: HallPlan) -> list[Path]:
    os.umask(0o022)
    beside, users, settings = folder / "mosquitto" / FOLDER, folder / "users", []
    for made in (folder, beside, users, folder / "mosquitto" / "conf.d"):
        made.mkdir(parents=True, exist_ok=True)
    kept = folder / "passwords.json"
    before = json.loads(kept.read_text()) if kept.is_file() else {}
    names = [*READERS, *(user_of(hall, station) for hall, stations in plan.halls.items() for station in stations)]
    passwords = before | {name: before.get(name) or secrets.token_urlsafe(18) for name in names}
    _write(kept, json.dumps(passwords, indent=1) + "\n", OWN_ONLY)
    authority_key, authority = _authority(folder)
    broker_key = new_key()
    try:
        broker = signed(_draft("pilotlamp broker"), broker_key, plan.hosts, by=(authority_key, authority))
    except ValueError as error:
        raise BusError(f"{error}: give the broker's with --host") from error
    _write(beside / "ca.crt", pem(authority), EVERYBODY)
    _write(beside / "broker.crt", pem(broker), EVERYBODY)
    _write(beside / "broker.key", pem(broker_key), GROUP_TOO)
    _write(beside / "passwords", "".join(_password_line(*entry) for entry in passwords.items()), GROUP_TOO)
    _write(beside / "access", access_list(passwords), GROUP_TOO)
    _write(folder / "mosquitto" / "conf.d" / "pilotlamp.conf", CONFIGURATION, EVERYBODY)
    _write(users / "ca.crt", pem(authority), EVERYBODY)
    for name in names:
        settings.append(users / f"{name}.env")
        variables = {"USER": name, "PASSWORD": passwords[name], "CA": "ca.crt"}
        _write(settings[-1], "".join(f"PILOTLAMP_BROKER_{key}={value}\n" for key, value in variables.items()), OWN_ONLY)
    return settings


def access_list(users: Iterable[str]) -> str:
    """Who may write and read what; everything else is refused.

    Args:
        users: Readers, and stations as :func:`user_of` names them.
    """
    stations = [user.split("+") for user in users if "+" in user]
    halls = sorted({hall for hall, _station in stations})
    lines = [
        "# Written by 'pilotlamp hall setup'. A station writes below its own name; it reads which of its messages were kept."
    ]
    for reader in READERS:
        lines += ["", f"user {reader}", *(f"topic read {ROOT}/{hall}/#" for hall in halls)]
        if reader == "collector":
            lines += [f"topic write {ROOT}/{hall}/+/kept" for hall in halls]
    for hall, station in stations:
        own = f"{ROOT}/{hall}/{station}"
        lines += ["", f"user {hall}+{station}", f"topic read {own}/kept"]
        lines += [f"topic write {own}/{what}" for what in STATION_WRITES]
    return "\n".join(lines) + "\n"


def _password_line(user: str, password: str) -> str:
    """As the broker's own program writes it: PBKDF2 with SHA-512, tested against the broker."""
    salt = secrets.token_bytes(12)
    key = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, ITERATIONS)
    return f"{user}:$7${ITERATIONS}${base64.b64encode(salt).decode()}${base64.b64encode(key).decode()}\n"


def _authority(folder: Path) -> tuple[Key, x509.Certificate]:
    """The hall's own authority, made once; its key stays in this folder."""
    key_path, path = folder / "ca.key", folder / "ca.crt"
    if key_path.is_file() and path.is_file():
        key = serialization.load_pem_private_key(key_path.read_bytes(), None)
        if isinstance(key, Key):
            return key, x509.load_pem_x509_certificate(path.read_bytes())
    made = new_key()
    certificate = signed(_draft(f"pilotlamp hall {secrets.token_hex(4)}"), made)
    _write(key_path, pem(made), OWN_ONLY)
    _write(path, pem(certificate), EVERYBODY)
    return made, certificate


def _draft(name: str) -> Draft:
    now = dt.datetime.now(tz=dt.UTC)
    return Draft(name, now - BEGAN, now + LASTS)


def _write(path: Path, data: str | bytes, mode: int) -> None:
    """Write a file that at no moment others may read who should not."""
    path.unlink(missing_ok=True)
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb") as file:
        file.write(data.encode() if isinstance(data, str) else data)
