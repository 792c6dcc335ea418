"""The program that runs on the unit itself, from the stick: it captures, judges, saves and shows, by itself.

``python -m usbwatch.onboard`` is started by the stick's ``/init``. The pages are pure (values and a size in, lines
out); what touches the machine stands apart from them: the console, the serial line, the stick, the loop.
"""
