"""A meter by pymodbus (3.16.1), a stranger that knows no map: `python pymodbus_meter.py PORT SETTINGS`.

SETTINGS is JSON: unit, baud, and under coil, discrete, holding and input what each table holds, from 0 on.
No parity, for a pseudo-terminal takes none. Prints "ready" when it listens.
"""

import asyncio
import json
import sys

from pymodbus import FramerType
from pymodbus.server import ModbusSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice


async def main(port: str, settings: str) -> None:
    """Serve until killed."""
    told = json.loads(settings)
    bits = [
        [SimData(0, values=[bool(bit) for bit in told[table]], datatype=DataType.BITS)]
        for table in ("coil", "discrete")
    ]
    words = [[SimData(0, values=told[table], datatype=DataType.REGISTERS)] for table in ("holding", "input")]
    device = SimDevice(told["unit"], simdata=(bits[0], bits[1], words[0], words[1]))
    server = ModbusSerialServer(
        device,
        framer=FramerType.RTU,
        port=port,
        baudrate=told["baud"],
        parity="N",
    )
    await server.listen()
    print("ready", flush=True)  # noqa: T201  (the test waits for it)
    await asyncio.Event().wait()


asyncio.run(main(sys.argv[1], sys.argv[2]))
