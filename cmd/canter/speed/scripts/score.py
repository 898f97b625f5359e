"""What a practitioner would write: read TCX files with the standard library,
take the highest 60-s mean for HRex, and the drop in the minute after its end."""
import sys
import xml.etree.ElementTree as ET
from datetime import datetime

for name in sys.argv[1:]:
    at, hr = [], []
    try:
        root = ET.parse(name)
    except ET.ParseError as e:  # a season has the odd file that breaks off
        print(name, "can't be read:", e)
        continue
    for point in root.iter():
        if not point.tag.endswith("}Trackpoint"):
            continue
        time = value = None
        for part in point.iter():
            if part.tag.endswith("}Time"):
                time = datetime.fromisoformat(part.text.strip().replace("Z", "+00:00")).timestamp()
            elif part.tag.endswith("}HeartRateBpm"):
                value = float(part[0].text)
        if time is not None and value:
            at.append(time)
            hr.append(value)
    best, end, total, first = 0.0, 0, 0.0, 0
    for i, v in enumerate(hr):
        total += v
        while at[i] - at[first] >= 60:
            total -= hr[first]
            first += 1
        mean = total / (i - first + 1)
        if at[i] - at[0] > 60 and mean > best:
            best, end = mean, i
    after = next((v for t, v in zip(at, hr) if hr and t >= at[end] + 60), None)
    print(name, round(best, 1), "" if after is None else hr[end] - after)
