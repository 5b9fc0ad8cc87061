"""Which broker, under which topics, and who we are to it."""

from dataclasses import dataclass, replace
from pathlib import Path
from urllib.parse import unquote, urlsplit

from readout.daemon.page.address import is_loopback
from readout.errors import WrongUse

#: Registered for MQTT with IANA: without and with TLS.
_PORTS = {"mqtt": 1883, "mqtts": 8883}
#: What a level of a topic cannot hold: separator, both wildcards (MQTT 3.1.1, 4.7) and NUL.
_NO_LEVEL = str.maketrans(dict.fromkeys("/+#\0", "_"))
#: The longest level that is taken; a topic has 65,535 bytes at most.
_LONGEST_LEVEL = 200
LOGIN_KEYS = ("user", "password", "ca", "certificate", "key")


@dataclass(frozen=True, slots=True)
class Login:
    """Who we are: user and password, our certificate and its key, and who vouches for the broker."""

    user: str | None = None
    password: str | None = None
    ca: Path | None = None
    certificate: Path | None = None
    key: Path | None = None


@dataclass(frozen=True, slots=True)
class BrokerAddress:
    """One broker. `prefix` stands before every topic, without a slash at its end."""

    host: str
    port: int
    tls: bool
    prefix: str
    login: Login = Login()

    def __str__(self) -> str:
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{'mqtts' if self.tls else 'mqtt'}://{host}:{self.port}"

    @property
    def tells_password_openly(self) -> bool:
        """Whether others on the network could read the password."""
        return self.login.password is not None and not self.tls and not is_loopback(self.host)


def level(name: str) -> str:
    """A name as one level of a topic."""
    return name.translate(_NO_LEVEL)[:_LONGEST_LEVEL] or "_"


def broker_at(text: str, login: Path | None, archive: Path) -> BrokerAddress:
    """`mqtt://HOST[:PORT][/PREFIX]` or `mqtts://…`; without a prefix `pipeledger/` and the archive's name.

    Raises:
        WrongUse: it is no such thing, or the file of the login is not as it must be.
    """
    wrong = WrongUse(
        f"--mqtt {_without_password(text)}: write mqtt://HOST, mqtt://HOST:1883 or mqtts://HOST/PREFIX"
        " (mqtts: with TLS)"
    )
    try:
        parts = urlsplit(text)
        port = parts.port
    except ValueError:
        raise wrong from None
    if parts.scheme not in _PORTS or not parts.hostname or parts.query or parts.fragment:
        raise wrong
    if parts.username is not None or parts.password is not None:
        raise WrongUse(
            f"--mqtt {_without_password(text)}: everyone on this computer can see how a command was called;"
            " put user and password into a file and name it with --mqtt-login"
        )
    prefix = unquote(parts.path).strip("/") or f"pipeledger/{level(archive.resolve().name)}"
    if any(not each or each.translate(_NO_LEVEL) != each for each in prefix.split("/")) or prefix[0] == "$":
        raise WrongUse(
            f"--mqtt {text}: the topics' prefix '{prefix}' has an empty level, +, # or a $ in front"
        )
    found = BrokerAddress(parts.hostname, port or _PORTS[parts.scheme], parts.scheme == "mqtts", prefix)
    return found if login is None else replace(found, login=_login(login, tls=found.tls))


def _without_password(text: str) -> str:
    scheme, separator, rest = text.partition("://")
    return f"{scheme}{separator}{rest.rpartition('@')[2]}" if separator else text


def _login(file: Path, *, tls: bool) -> Login:
    """Lines of `key: value`; files are looked for from the folder of this one."""
    try:
        lines = file.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise WrongUse(f"--mqtt-login {file}: it cannot be read ({error}); is the path right?") from error
    found: dict[str, str] = {}
    for number, line in enumerate(lines, 1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        key, colon, value = (part.strip() for part in line.partition(":"))
        if not colon or key not in LOGIN_KEYS or key in found or not value:
            raise WrongUse(f"{file}:{number}: write each once, as 'key: value': {', '.join(LOGIN_KEYS)}")
        found[key] = value
    paths = {key: file.parent / found[key] for key in ("ca", "certificate", "key") if key in found}
    for key, path in paths.items():
        if not path.is_file():
            raise WrongUse(f"{file}: {key}: {path} is not there; is the path right?")
    if paths and not tls:
        raise WrongUse(
            f"{file}: certificates are for TLS, and the broker's address begins with mqtt://; write mqtts://"
        )
    if ("key" in paths) != ("certificate" in paths):
        raise WrongUse(f"{file}: certificate and key belong together; give both or neither")
    if "password" in found and "user" not in found:
        raise WrongUse(f"{file}: a password without a user; MQTT 3.1.1 has no such login")
    return Login(
        found.get("user"), found.get("password"), paths.get("ca"), paths.get("certificate"), paths.get("key")
    )
