"""Physics: functions of arrays, with sources; nothing here knows a scenario.

Floats, lists, arrays and pandas Series go in. A Series comes back with its index where one went in,
each array of a result that is a record too; floats and arrays give what NumPy makes of them. A
function that follows a series of steps wants a series.
"""
