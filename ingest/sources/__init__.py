"""Where samples come from: brokers, serial lines and one-wire chips, and the forms in which a number arrives.

In reading order:

sample           what a source delivers, and the ticket by which it is acknowledged
number           a number as plain text
json_form        JSON payloads: strict decoding, places in them (RFC 6901), times (RFC 3339)
senml            SenML packs in JSON (RFC 8428)
framing          a serial instrument's bytes, cut into lines
broker_address   a broker and as whom to connect to it; its refusals in plain words
topics           topic filters: wanted, granted, refused, given up
acknowledgement  the order in which MQTT messages are acknowledged
mqtt_client      the client library, set up for one connection
mqtt_connection  one connection to a broker, from CONNECT to its end
mqtt_source      the source that keeps such a connection up, for the daemon and for ``listen``
retained         one retained message, on a connection of its own
broker_check     a broker tried once, for ``check --live``
serial_port      a line's port: opened, tried once, who has it, its troubles in plain words
serial_line      the source that reads a serial line
ports            the serial devices of this machine
w1               the source that reads one-wire chips through the kernel's files
"""
