"""Makes panel_streams.json: what the library luma.oled sends to set panels up and to show one picture.

    python3 -m venv venv && venv/bin/pip install luma.oled==3.16.0
    venv/bin/python tests/outside/panel_streams.py > tests/outside/panel_streams.json

The picture has a diagonal, a full left column, and a spot near the right edge of the last row. Each message is hex, with the
control byte that I2C puts before it (00 commands, 40 data).
"""

import json

from PIL import Image
from luma.oled.device import sh1106, ssd1306, ssd1309


class Recorder:
    """Stands in for luma's I2C interface, and keeps what is sent."""

    def __init__(self):
        self.messages = []

    def command(self, *commands):
        self.messages.append(bytes([0x00, *commands]).hex())

    def data(self, data):
        self.messages.append(bytes([0x40, *data]).hex())

    def cleanup(self):
        pass


def picture(width, height):
    image = Image.new("1", (width, height))
    for y in range(height):
        image.putpixel((0, y), 1)
        image.putpixel((y % width, y), 1)
    image.putpixel((width - 3, height - 1), 1)
    return image


def stream(device, width, height):
    recorder = Recorder()
    panel = device(recorder, width=width, height=height)
    panel.display(picture(width, height))
    return recorder.messages


PANELS = [
    ("Ssd1306", ssd1306, 128, 64),
    ("Ssd1306", ssd1306, 128, 32),
    ("Ssd1306", ssd1306, 64, 48),
    ("Ssd1309", ssd1309, 128, 64),
    ("Sh1106", sh1106, 128, 64),
]
rows = [
    {"controller": name, "width": width, "height": height, "messages": stream(device, width, height)}
    for name, device, width, height in PANELS
]
print(json.dumps(rows, indent=1))
