"""The process beside the recorder that shows what it keeps: page, metrics, broker.

A process of its own, so that whatever a browser or a broker does costs no round its time, and its end no row.
"""
