"""Physics: functions of arrays, with sources; nothing here knows a scenario."""
