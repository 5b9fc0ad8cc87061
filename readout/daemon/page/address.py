"""Where the page listens, and by which names it may be asked for."""

import ipaddress
import socket
from dataclasses import dataclass
from pathlib import Path

from readout.errors import WrongUse

#: A token shorter than this can be guessed.
SHORTEST_TOKEN = 16
_LONGEST_TOKEN = 200
_LOCAL = frozenset({"localhost", "localhost."})


@dataclass(frozen=True, slots=True)
class Listen:
    """An address of this computer. `token` opens the page; None only where nobody else can reach it."""

    host: str
    port: int
    token: str | None

    @property
    def is_local(self) -> bool:
        """Whether only this computer can reach it."""
        return is_loopback(self.host)

    def url(self, port: int) -> str:
        """What to open in a browser; for an address that stands for all, this computer's name."""
        host = self.host
        if not is_loopback(host) and _literal(host) is not None and ipaddress.ip_address(host).is_unspecified:
            host = socket.gethostname()
        return f"http://{f'[{host}]' if ':' in host else host}:{port}/"

    def answers_to(self, host: str) -> bool:
        """Whether a Host header is meant for us. A foreign name is how other pages reach into a network.

        This computer's own names, and addresses as numbers, which nobody can point elsewhere. The port may
        be another one: of a tunnel.
        """
        name = _name_in(host)
        if name is None:
            return False
        if self.is_local:
            return is_loopback(name)
        own = socket.gethostname().lower()
        return name in {self.host.lower(), own, f"{own}.local"} or _literal(name) is not None


def is_loopback(host: str) -> bool:
    """Whether a host is this computer itself."""
    literal = _literal(host)
    return host.lower() in _LOCAL if literal is None else literal.is_loopback


def listen_at(text: str, token_file: Path | None) -> Listen:
    """`HOST:PORT`; port 0 takes any that is free.

    Raises:
        WrongUse: it is no such thing, the file holds no token, or others could reach it without one.
    """
    host, colon, port = text.rpartition(":")
    host = host.removeprefix("[").removesuffix("]")
    if not colon or not host or not port.isascii() or not port.isdecimal() or int(port) > 65535:
        raise WrongUse(f"--page {text}: write HOST:PORT, such as 127.0.0.1:8808")
    found = Listen(host, int(port), None if token_file is None else _token(token_file))
    if found.token is None and not found.is_local:
        raise WrongUse(
            f"--page {text}: others can reach this address, and the page would show them the readings and let"
            " them write into the log book. Give --page-token FILE, a file with a token that they must know,"
            " or listen at 127.0.0.1 and come through a tunnel (ssh -L 8808:127.0.0.1:8808)"
        )
    return found


def _token(file: Path) -> str:
    try:
        lines = file.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise WrongUse(f"--page-token {file}: it cannot be read ({error}); is the path right?") from error
    token = lines[0].strip() if lines else ""
    if not SHORTEST_TOKEN <= len(token) <= _LONGEST_TOKEN or not token.isprintable():
        raise WrongUse(
            f"--page-token {file}: its first line must be a token of {SHORTEST_TOKEN} to {_LONGEST_TOKEN}"
            " characters, such as `openssl rand -hex 16` gives"
        )
    return token


def _literal(host: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    try:
        return ipaddress.ip_address(host)
    except ValueError:
        return None


def _name_in(header: str) -> str | None:
    """The host of a Host header, in small letters without its port; None for something else."""
    if header.startswith("["):
        name, _, rest = header[1:].partition("]")
    else:
        name, colon, rest = header.partition(":")
        rest = colon + rest
    if rest and not (rest.startswith(":") and rest[1:].isdecimal()):
        return None
    return name.lower() or None
