"""Settings for a network made by the network generator of the benchmark, as YAML text."""


def settings(network, folder, webhook=None, secret=None, rescan="10 min", settle="0 s", formats=None):
    lines = ["network: {id: bench, name: Benchmark network, operator: '', contact: desk@example.org}",
             f"inbox: {folder}/inbox", f"archive: {folder}/archive", f"state: {folder}/state",
             f"intake: {{settle: {settle}, rescan: {rescan}, hold_open_end: 0 s}}"]
    lines += [f"archive_formats: [{formats}]"] if formats else []
    lines += ["stations:"]
    for name, s in network["stations"].items():
        lines.append(f"  {name}: {{name: {name}, latitude: {s['lat']:.6f}, longitude: {s['lon']:.6f}, elevation: {s['elevation_m']} m,"
                     f" standard_time: Z, drops: ['{name}/*'], labels: [{name}], oxygen_sensor_salinity: 0, salinity: measured}}")
    lines.append("barometers:")
    for name, b in network["baros"].items():
        lines.append(f"  {name}: {{name: {name}, latitude: {b['lat']}, longitude: {b['lon']}, elevation: {b['elevation_m']} m,"
                     f" standard_time: Z, drops: ['{name}/*']}}")
    lines += ["layouts:",
              "  water: {holds: readings, time: {columns: [time], format: iso, zone: Z}, columns: ["
              "{header: abs_pressure_kpa, is: water_pressure, unit: kPa}, {header: temp_c, is: temperature, unit: degC},"
              " {header: do_mgl, is: oxygen, unit: mg/L}, {header: cond_mscm, is: conductivity, unit: mS/cm}]}",
              "  air: {holds: readings, time: {columns: [time], format: iso, zone: Z}, columns: ["
              "{header: baro_kpa, is: air_pressure, unit: kPa}, {header: air_c, is: air_temperature, unit: degC}]}",
              "  visits: {holds: notes, files: ['*/visits.csv'], time: {columns: [time], format: iso, zone: Z}, columns: ["
              "{header: level_m, is: note, note: level, unit: m}]}",
              "rules:"]
    lines += rules(network, webhook)
    if webhook:  # each station its own: one recipient is told of a flood of alarms in one message, and late
        lines += ["recipients:"] + [f"  hook-{name}: {{webhook: '{webhook}', secret: {{file: {secret}}}, allow_private_address: true}}"
                                    for name in network["stations"]]
    return "\n".join(lines) + "\n"


def rules(network, webhook):
    kinds = {"low-oxygen": "{kind: below, quantity: oxygen, limit: 3 mg/L, deadband: 0.5 mg/L, on_delay: 30 min, off_delay: 30 min",
             "quick-rise": "{kind: rise, quantity: level, limit: 0.3 m, window: 1 h"}
    if not webhook:
        return [f"  {rule}: {words}, priority: high}}" for rule, words in kinds.items()]
    return [f"  {rule}-{name}: {words}, priority: high, stations: [{name}], tell: [hook-{name}]}}"
            for rule, words in kinds.items() for name in network["stations"]]
