"""What a plant would write first: one INSERT and one commit a message. Counts nothing."""

import json
import sys
import time

import paho.mqtt.client as mqtt
import psycopg

port, user, password, database_url, wanted = sys.argv[1:6]
conn = psycopg.connect(database_url, autocommit=True)
times: list[float] = []
FIELDS = ("boot", "seq", "at", "strokes", "peak_speed_mps", "peak_accel_mps2")


def on_message(client, _data, message):
    press = "/".join(message.topic.split("/")[2:5])
    report = json.loads(message.payload)
    times.append(time.monotonic())
    conn.execute(
        "INSERT INTO one_insert (press, boot, seq, at, strokes, speed, accel)"
        " VALUES (%s, %s, %s, %s, %s, %s, %s) ON CONFLICT DO NOTHING",
        [press, *(report[name] for name in FIELDS)],
    )
    client.ack(message.mid, message.qos)
    if len(times) == int(wanted):
        print((len(times) - 1) / (time.monotonic() - times[0]), flush=True)
        client.disconnect()


client = mqtt.Client(
    mqtt.CallbackAPIVersion.VERSION2, "one-insert", protocol=mqtt.MQTTv5, manual_ack=True
)
client.username_pw_set(user, password)
client.on_message = on_message
properties = mqtt.Properties(mqtt.PacketTypes.CONNECT)
properties.SessionExpiryInterval = 3600
client.connect("127.0.0.1", int(port), clean_start=False, properties=properties)
client.loop_forever()
