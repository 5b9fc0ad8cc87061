"""A meter by pymodbus (3.16.1), a stranger: `python pymodbus_server.py PORT`; prints "ready" when it listens.

Unit 17. The same registers as in libmodbus_server.c; the test lists them a third time.
"""

import asyncio
import sys

from pymodbus import FramerType
from pymodbus.server import ModbusSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice

FLOATS = [0x42F6, 0xE979, 0xE979, 0x42F6, 0xF642, 0x79E9, 0x79E9, 0xF642]


async def main(port: str) -> None:
    """Serve until killed."""
    holding = [(7 * i + 1) % 65536 for i in range(200)]
    inputs = FLOATS + [60000 - i for i in range(8, 200)]
    coils = [i % 3 == 0 for i in range(40)]
    discretes = [i % 5 == 0 for i in range(40)]
    device = SimDevice(
        17,
        simdata=(
            [SimData(0, values=coils, datatype=DataType.BITS)],
            [SimData(0, values=discretes, datatype=DataType.BITS)],
            [SimData(0, values=holding, datatype=DataType.REGISTERS)],
            [SimData(0, values=inputs, datatype=DataType.REGISTERS)],
        ),
    )
    server = ModbusSerialServer(
        device,
        framer=FramerType.RTU,
        port=port,
        baudrate=19200,
        parity="N",
        stopbits=2,
    )
    await server.listen()
    print("ready", flush=True)  # noqa: T201  (the test waits for it)
    await asyncio.Event().wait()


asyncio.run(main(sys.argv[1]))
