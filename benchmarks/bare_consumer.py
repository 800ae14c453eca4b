"""The limit of the client library: take messages, acknowledge them at once, do nothing else."""

import sys
import time

import paho.mqtt.client as mqtt

port, user, password, wanted = sys.argv[1:5]
times: list[float] = []


def on_message(client, _data, _message):
    times.append(time.monotonic())
    if len(times) == int(wanted):
        print((len(times) - 1) / (times[-1] - times[0]), flush=True)
        client.disconnect()


client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, "bare", protocol=mqtt.MQTTv5)
client.username_pw_set(user, password)
client.on_message = on_message
properties = mqtt.Properties(mqtt.PacketTypes.CONNECT)
properties.SessionExpiryInterval = 3600
properties.ReceiveMaximum = 1000
client.connect("127.0.0.1", int(port), clean_start=False, properties=properties)
client.loop_forever()
