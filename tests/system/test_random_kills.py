# SPDX-License-Identifier: MIT
"""Simulated traffic over days, and kill -9 at random moments all the time: the archive and the facts in the database are
those of a service that nobody disturbed, and of the rows that were made no one is lost and no one stands there twice.

A round is a network made from a number: waves of files that come new, longer, again under another name, corrected, late,
unreadable. It is played twice, in peace and with kills, and both ends are compared with each other and with what was made.
In even rounds files come while the service is down, so that the order in which it takes them is the same: then all bytes
are. In odd rounds they come while it runs and is killed: then numbers of drops and revisions tell another order, and
tables are compared with the names of files in the place of numbers.

RILLWARD_KILL_SECONDS says for how long rounds are played (20), RILLWARD_SEED with which number they begin. By itself
(`python3 test_random_kills.py`) it also prints what it counted, and, with RILLWARD_KILL_REPORT, keeps it in that file.
"""
import collections
import csv
import os
import pathlib
import random
import resource
import shutil
import tempfile
import time

from daemon import (SET_ASIDE, SMALL_NOW, SMALL_START, WITHDRAWN, Service, air_file, finished_times, later, milliseconds,
                    months, same_facts, small_settings, water_rows, written)

SECONDS = float(os.environ.get("RILLWARD_KILL_SECONDS", "20"))
SEED = int(os.environ.get("RILLWARD_SEED", "4711"))
REPORT = os.environ.get("RILLWARD_KILL_REPORT", "")
STATIONS = ("mill-pond", "mill-race", "mill-weir", "mill-ford")
WAVES, ROWS = 6, 18  # of five minutes each; all of them lie before the wall clock of the service
LONGEST_LIFE = 0.4  # seconds between a start and its kill
ENDED_READER = "the program ended each time it was read"


def settings():
    """The small network with more stations in its place, which have nothing of their own but the name."""
    text = small_settings(settle="0 s", rescan="1 s")
    head, rest = text.split("  mill-pond: &place\n")
    first, rest = rest.split('    drops: ["mill/**"]\n    serials: [M-1]\n')
    place = "".join(f"  {name}:\n{first}    drops: [\"*/{name}/**\"]\n" for name in STATIONS)
    air = rest.replace('drops: ["mast/**"]', 'drops: ["*/mast/**"]')
    assert air != rest
    return head + place + air


class Traffic:
    """What comes, wave by wave: path -> content. Contents of one wave do not contradict each other."""

    def __init__(self, number):
        self.chance = random.Random(number)
        self.files, self.rows, self.waves = {}, collections.defaultdict(set), []
        for wave in range(WAVES):
            self.waves.append(self.make_wave(wave))

    def make_wave(self, wave):
        made = {}
        # The barometer's file comes late at times: then the one of two waves comes with the next.
        if wave == WAVES - 1 or self.chance.random() < 0.7:
            made[f"{wave}/mast/air.csv"] = air_file(0, (wave + 1) * ROWS + 1)
        for station in STATIONS:
            made.update(self.make_station(wave, station))
        if self.chance.random() < 0.3:
            made[f"{wave}/mill-pond/picture.csv"] = "no table, wave %d\n" % wave
        self.files.update(made)
        return made

    def make_station(self, wave, station):
        first, what, salt = wave * ROWS, self.chance.random(), STATIONS.index(station)
        before = [path for path in self.files if f"/{station}/water" in path]
        made = {f"{wave}/{station}/water.csv": self.water(station, first, ROWS, 11 + salt)}
        if what < 0.2 and before:  # the same bytes under another name
            made[f"{wave}/{station}/again.csv"] = self.files[self.chance.choice(before)]
        elif what < 0.4 and before:  # a file that is there comes back longer, with this wave's rows
            path = f"{wave - 1}/{station}/water.csv"
            return {path: self.files[path] + water_rows(first, ROWS, 11 + salt)} if path in self.files and self.add(
                station, first, ROWS) else made
        elif what < 0.5 and before:  # corrected rows of the first wave
            made[f"{wave}/{station}/corrected.csv"] = self.water(station, 0, 5, 11 + salt + 0.1 * wave)
        elif what < 0.7:  # in many small files
            made = {f"{wave}/{station}/water-{row}.csv": self.water(station, row, 3, 11 + salt)
                    for row in range(first, first + ROWS, 3)}
        return made

    def water(self, station, first, count, temperature):
        self.add(station, first, count)
        return "time,pressure,temperature\n" + water_rows(first, count, temperature)

    def add(self, station, first, count):
        start = milliseconds(SMALL_START)
        self.rows[station] |= {written(start + row * 300000) for row in range(first, first + count)}
        return True


def play(service, traffic, moments, alive):
    """All waves, each to rest; returns kills at work, and the drops that a third kill in a row set aside."""
    kills, forgiven = 0, set()
    for number, wave in enumerate(traffic.waves):
        service.now = later(SMALL_NOW, minutes=5 * number)
        if alive:
            service.start(awaits=moments is None)
        arrive(service, wave)
        if moments is not None:
            kills += disturb(service, moments, alive)
        if service.process is None:
            service.start()
        service.wait_for_rest()
        while forgive(service, forgiven):
            service.wait_for_rest()
        service.stop()
    return kills, forgiven


def arrive(service, wave):
    """New folders as a whole, so that all is there at once; files into folders that are there, one after the other."""
    fresh = collections.defaultdict(dict)
    for path, content in wave.items():
        top, below = path.split("/", 1)
        if (service.inbox / top).exists():
            service.put(path, content)
        else:
            fresh[top][below] = content
    for top, files in fresh.items():
        beside = service.folder / "arriving-folder"
        for below, content in files.items():
            (beside / below).parent.mkdir(parents=True, exist_ok=True)
            (beside / below).write_text(content)
        beside.rename(service.inbox / top)


def disturb(service, moments, alive):
    kills = 0
    for _ in range(moments.randint(2, 6)):
        if not alive:
            service.start(awaits=False)
        time.sleep(moments.uniform(0, LONGEST_LIFE) ** 1.5)  # the moment of the kill, no more
        kills += service.unrest() != ""
        service.kill()
        alive = False
    return kills


def forgive(service, forgiven):
    """A file whose reading was ended three times in a row is left alone, as it should be; touching it is the cure."""
    rows = service.ask("SELECT path FROM path WHERE state = ? AND message LIKE ?", SET_ASIDE, f"%{ENDED_READER}%")
    for row in rows:
        path = row["path"].decode()
        forgiven.add(path)
        os.utime(service.inbox / path)
    if rows:
        service.wait_until(lambda: not service.ask("SELECT 1 FROM path WHERE state = ? AND message LIKE ?", SET_ASIDE,
                                                   f"%{ENDED_READER}%"), "touched files are read again")
    return bool(rows)


def facts(service, forgiven):
    """What the database knows for good, without the numbers and moments that tell the order of arrival."""
    ask = service.ask
    drops = [tuple(row) for row in ask("SELECT path, sha256, rows, added, repeated, disagreed, complaints FROM drop_"
                                       " WHERE added + disagreed + repeated > 0")]
    notes = [tuple(row) for row in ask("SELECT kind, time, quantity, value, reference, text FROM note")]
    pages = [tuple(row) for row in ask("SELECT key, month, revision, content FROM page JOIN place ON place = number")]
    alarms = [tuple(row) for row in ask("SELECT station, rule, iif(rule = 'bad-drop', 0, start), state FROM alarm"
                                        " WHERE state <> ?", WITHDRAWN) if row["station"] not in forgiven]
    return {"drops": sorted(drops), "notes": sorted(notes), "pages": sorted(pages), "alarms": sorted(alarms)}


def tables(service):
    """Finished tables, with the name of the file in the place of its number."""
    names = {str(row["number"]): row["path"].decode() for row in service.ask("SELECT number, path FROM drop_")}
    result = {}
    for station in STATIONS:
        for path in months(service, station):
            head, *rows = csv.reader(path.read_text(encoding="utf-8").splitlines())
            number = head.index("drop")
            result[path.name] = [row[:number] + [names[row[number]]] + row[number + 1:] for row in rows]
    return result


def one_round(folder, number, count):
    traffic, runs, alive = Traffic(number), [], number % 2 == 1
    for name, moments in (("peace", None), ("kills", random.Random(number))):
        with Service(folder / name, settings(), SMALL_NOW) as service:
            kills, forgiven = play(service, traffic, moments, alive)
            assert "0 findings; the database is sound" in service.verify(expected=0)
            assert service.leftovers() == []
            runs.append((tables(service) if alive else same_facts(service.archive, SMALL_NOW), facts(service, forgiven)))
            if moments is None:
                continue
            count["kills"] += kills
            count["set aside by a third kill, then touched"] += len(forgiven)
            tell_losses(service, traffic, count)
    peace, disturbed = runs
    where = f"number {number}"
    for kind in peace[1].keys() - ({"pages"} if alive else set()):
        assert peace[1][kind] == disturbed[1][kind], f"{where}: {kind}"
    different = sorted(path for path in peace[0].keys() | disturbed[0].keys() if peace[0].get(path) != disturbed[0].get(path))
    assert not different, f"{where}: {different}"
    count["rounds"] += 1


def tell_losses(service, traffic, count):
    for station in STATIONS:
        times = finished_times(service, station)
        count["records out"] += len(times)
        count["doubles"] += len(times) - len(set(times))
        count["losses"] += len(traffic.rows[station] - set(times))
        count["records in"] += len(traffic.rows[station])
    count["drops in"] += sum(len(wave) for wave in traffic.waves)


def play_for(seconds, folder):
    count, number, end = collections.Counter(doubles=0, losses=0), SEED, time.monotonic() + seconds
    while count["rounds"] == 0 or time.monotonic() < end:
        one_round(folder / f"round-{number}", number, count)
        shutil.rmtree(folder / f"round-{number}")
        number += 1
        report(count)
    return count


def report(count):
    count["largest resident size of a run [KiB]"] = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    if REPORT:
        pathlib.Path(REPORT).write_text("".join(f"{what}: {n}\n" for what, n in sorted(count.items())), encoding="utf-8")


def test_kills_while_files_come_change_nothing(tmp_path):
    count = play_for(SECONDS, tmp_path)
    assert count["kills"] > 0 and count["records out"] > 0
    assert count["doubles"] == 0 and count["losses"] == 0, dict(count)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        print(*(f"{what}: {number}" for what, number in sorted(play_for(SECONDS, pathlib.Path(folder)).items())), sep="\n")
