"""The recorder as a launch daemon of macOS and as a task of Windows, as texts.

Sources: launchd.plist(5); Task Scheduler Schema of Microsoft's Win32 reference. Neither system asks a program
for signs of life: `status` is asked from outside.
"""

import plistlib
from collections.abc import Callable
from dataclasses import dataclass
from xml.sax.saxutils import escape

from readout.daemon.service.service_unit import Service

#: Seconds that sealing may take at the end, before the recorder is killed. As in the unit of systemd.
_END_S = 120
#: Nobody but owner and group reads the files: octal 027, which a property list holds as a whole number.
_UMASK = 0o027


def launch_daemon(service: Service) -> str:
    """A property list for launchd: starts with the Mac, and again after each end."""
    return plistlib.dumps(
        {
            "Label": f"local.{service.name}",
            "ProgramArguments": list(service.words),
            "WorkingDirectory": str(service.archive.parent),
            "UserName": service.user,
            "Umask": _UMASK,
            "RunAtLoad": True,
            "KeepAlive": True,
            "ExitTimeOut": _END_S,
            # Else launchd may hold a daemon's timers and disk accesses back to save power.
            "ProcessType": "Interactive",
            "LegacyTimers": True,
            "StandardErrorPath": str(service.archive.parent / f"{service.name}.log"),
        },
        sort_keys=False,
    ).decode()


def task(service: Service) -> str:
    """A task for the Task Scheduler, in ASCII, so that every way of saving it is right.

    It runs as LOCAL SERVICE (S-1-5-19), on battery too, without an end, at a program's usual priority.
    """
    program, *arguments = service.words
    text = f"""\
<?xml version="1.0"?>
<Task version="1.2" xmlns="http://schemas.microsoft.com/windows/2004/02/mit/task">
  <RegistrationInfo>
    <Description>pipeledger records into {escape(str(service.archive))}</Description>
  </RegistrationInfo>
  <Triggers>
    <!-- Every minute from the start on: one that ended is started again, one that runs is left alone. -->
    <BootTrigger><Repetition><Interval>PT1M</Interval></Repetition></BootTrigger>
  </Triggers>
  <Principals>
    <Principal id="recorder"><UserId>S-1-5-19</UserId></Principal>
  </Principals>
  <Settings>
    <MultipleInstancesPolicy>IgnoreNew</MultipleInstancesPolicy>
    <DisallowStartIfOnBatteries>false</DisallowStartIfOnBatteries>
    <StopIfGoingOnBatteries>false</StopIfGoingOnBatteries>
    <ExecutionTimeLimit>PT0S</ExecutionTimeLimit>
    <Priority>4</Priority>
  </Settings>
  <Actions Context="recorder">
    <Exec>
      <Command>{escape(program)}</Command>
      <Arguments>{escape(" ".join(map(_word, arguments)))}</Arguments>
      <WorkingDirectory>{escape(str(service.archive.parent))}</WorkingDirectory>
    </Exec>
  </Actions>
</Task>
"""
    return text.encode("ascii", "xmlcharrefreplace").decode()


def _word(value: str) -> str:
    """A word of a command line of Windows, whose paths cannot have quotation marks."""
    return f'"{value}"' if " " in value else value


@dataclass(frozen=True, slots=True)
class Kind:
    """What a system's service is made of, and how it gets there: sentences with {file} and {name}."""

    text: Callable[[Service], str]
    file: str
    next: tuple[str, ...]


#: By `sys.platform`.
KINDS = {
    "darwin": Kind(
        launch_daemon,
        "local.{name}.plist",
        (
            "next: sudo install -o root -g wheel -m 644 {file} /Library/LaunchDaemons/",
            "      sudo launchctl bootstrap system /Library/LaunchDaemons/{file}",
            "      sudo pmset -a sleep 0 (a computer that sleeps records nothing)",
        ),
    ),
    "win32": Kind(
        task,
        "{name}.xml",
        (
            "next, as administrator: schtasks /Create /TN {name} /XML {file}",
            "                        schtasks /Run /TN {name}",
            "                        powercfg /change standby-timeout-ac 0 (asleep, it records nothing)",
        ),
    ),
}
