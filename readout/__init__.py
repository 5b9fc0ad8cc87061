"""Acts: reads meters, records, seals, reports. The command `pipeledger` lives in readout.cli."""
