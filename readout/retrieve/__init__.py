"""The meter's log memory over the bus: fetched window by window, each kept before the next is asked for."""
