"""The domain: pours, cure, planning, alarms, store, record and the station daemon.

Reading order: errors, units, pour, plan_file, cure/, planning/, alarms/, store/, record/, delivery/, daemon/.
"""
