// The tools of the map sheet: the station under the pointer, measuring, own position.
const parcelTools = (map, { data, layers, still, press, say, makeRoom }) => {
  const byId = (id) => document.getElementById(id);

  // ---- lengths, areas, stations in the person's units
  function grouped(value, digits) {
    return value.toLocaleString("en-US", { minimumFractionDigits: digits, maximumFractionDigits: digits });
  }

  function lengthText(metres) {
    const units = data.units;
    return `${grouped(metres / units.lengthM, 2)} ${units.length}`;
  }

  function areaText(square) {
    const units = data.units;
    if (square >= units.areaM2 / 10) return `${grouped(square / units.areaM2, 3)} ${units.area}`;
    return units.system === "metric" ? `${grouped(square, 1)} m²` : `${grouped(square / units.lengthM ** 2, 0)} sq ft`;
  }

  function stationText(metres) {
    const us = data.units.stations === "us";
    const tenths = Math.round((metres / (us ? 0.3048 : 1)) * 10);
    const whole = us ? 1000 : 10000;
    const rest = ((tenths % whole) + whole) % whole;
    return `${Math.floor(tenths / whole)}+${(rest / 10).toFixed(1).padStart(us ? 4 : 5, "0")}`;
  }

  function plane(latlng) {
    const [east, north] = data.metresPerDegree;
    return [(latlng.lng - data.origin[0]) * east, (latlng.lat - data.origin[1]) * north];
  }

  function fromPlane([x, y]) {
    const [east, north] = data.metresPerDegree;
    return L.latLng(data.origin[1] + y / north, data.origin[0] + x / east);
  }

  // ---- station under the pointer
  function stationReader() {
    const legs = Object.values(layers).flat().flatMap((layer) => layer.getLayers()).filter((leg) => leg.feature && leg.feature.properties.r);
    const runs = legs.map((leg) => ({ ...leg.feature.properties.r, xy: leg.getLatLngs().map(plane) }));
    const several = runs.length > 1;
    const ring = L.marker([0, 0], {
      icon: L.divIcon({ className: "ring", iconSize: [16, 16] }), interactive: false, keyboard: false, zIndexOffset: 900,
    });
    ring.bindTooltip("", { permanent: true, direction: "top", offset: [0, -12], className: "reading" });
    let waiting = null;

    function nearest([px, py]) {
      let best = { off: Infinity };
      for (const run of runs) {
        for (let k = 1; k < run.xy.length; k += 1) {
          const [ax, ay] = run.xy[k - 1];
          const dx = run.xy[k][0] - ax;
          const dy = run.xy[k][1] - ay;
          const square = dx * dx + dy * dy;
          const share = square ? Math.max(0, Math.min(1, ((px - ax) * dx + (py - ay) * dy) / square)) : 0;
          const at = [ax + share * dx, ay + share * dy];
          const off = Math.hypot(px - at[0], py - at[1]);
          if (off < best.off) {
            best = { off, at, run, station: run.station[k - 1] + share * (run.station[k] - run.station[k - 1]) };
          }
        }
      }
      return best;
    }

    function read(event) {
      waiting = null;
      const best = nearest(plane(event.latlng));
      const place = best.run && fromPlane(best.at);
      const near = place && map.latLngToContainerPoint(place).distanceTo(event.containerPoint) < 36;
      if (!near || document.body.classList.contains("measuring")) {
        ring.remove();
        return;
      }
      const name = several ? `${best.run.name}${best.run.twisted ? " lead-in" : ""} ` : "";
      show(place, name + stationText(best.station), best.off < 0.05 ? "on the wire" : `${lengthText(best.off)} off`);
    }

    function show(place, first, second) {
      const box = document.createElement("div");
      box.append(Object.assign(document.createElement("b"), { textContent: first }));
      box.append(Object.assign(document.createElement("span"), { textContent: second }));
      ring.setLatLng(place).setTooltipContent(box).addTo(map);
    }

    // "4+68.5" in the form of the stakes, or a plain number of feet or metres
    function metresOf(text) {
      const us = data.units.stations === "us";
      const found = /^\s*(?:(\d+)\s*\+)?\s*(\d+(?:\.\d+)?)\s*$/.exec(text);
      return found && (Number(found[1] || 0) * (us ? 100 : 1000) + Number(found[2])) * (us ? 0.3048 : 1);
    }

    function placeAt(name, metres) {
      for (const run of runs.filter((candidate) => candidate.name === name && !candidate.twisted)) {
        for (let k = 1; k < run.station.length; k += 1) {
          const [from, to] = [run.station[k - 1], run.station[k]];
          if (metres < from - 0.001 || metres > to + 0.001) continue;
          const share = to > from ? (metres - from) / (to - from) : 0;
          return fromPlane(run.xy[k].map((value, axis) => run.xy[k - 1][axis] + share * (value - run.xy[k - 1][axis])));
        }
      }
      return null;
    }

    function finder() {
      const form = byId("station-form");
      const choice = byId("station-loop");
      const names = [...new Set(runs.filter((run) => !run.twisted).map((run) => run.name))];
      choice.append(...names.map((name) => new Option(name)));
      choice.hidden = names.length < 2;
      form.hidden = names.length === 0;
      form.addEventListener("submit", (event) => {
        event.preventDefault();
        const metres = metresOf(byId("station-text").value);
        const place = metres === null ? null : placeAt(choice.value, metres);
        byId("station-answer").textContent = place ? "" : `There is no such station on ${choice.value}.`;
        if (!place) return;
        makeRoom();
        map.setView(place, Math.max(map.getZoom(), 20), { animate: !still() });
        show(place, `${several ? `${choice.value} ` : ""}${stationText(metres)}`, "station asked for");
      });
    }

    finder();
    map.on("mousemove", (event) => {
      if (waiting === null) requestAnimationFrame(() => read(waiting));
      waiting = event;
    });
    map.on("mouseout", () => ring.remove());
  }

  // ---- measuring
  function measureTool() {
    const button = byId("tool-measure");
    const bar = byId("measure");
    const text = byId("measure-text");
    const pane = map.createPane("measure");
    pane.style.zIndex = 640;
    const renderer = L.svg({ pane: "measure" });
    const look = { pane: "measure", renderer, interactive: false, color: "#c2185b", weight: 3 };
    const area = L.polygon([], { ...look, weight: 1, dashArray: "4 4", fillOpacity: 0.12 });
    const line = L.polyline([], look);
    const dots = L.layerGroup();
    let points = [];

    function figures() {
      const xy = points.map(plane);
      let length = 0;
      let twice = 0;
      xy.forEach(([x, y], k) => {
        const [nx, ny] = xy[(k + 1) % xy.length];
        if (k + 1 < xy.length) length += Math.hypot(nx - x, ny - y);
        twice += x * ny - nx * y;
      });
      return { length, area: Math.abs(twice) / 2 };
    }

    function draw() {
      line.setLatLngs(points);
      area.setLatLngs(points.length > 2 ? points : []);
      dots.clearLayers();
      points.forEach((point) => L.circleMarker(point, { ...look, radius: 4, fillColor: "#ffffff", fillOpacity: 1 }).addTo(dots));
      const { length, area: square } = figures();
      const lines = [`Length ${lengthText(length)}`];
      if (points.length > 2) lines.push(`Area ${areaText(square)}`);
      const hint = points.length ? "Tap the next point." : "Tap the first point.";
      text.textContent = points.length > 1 ? lines.join("\n") : hint;
      bar.dataset.length = length.toFixed(4);
      bar.dataset.area = square.toFixed(4);
    }

    function add(event) {
      const last = points.at(-1);
      if (last && map.latLngToContainerPoint(last).distanceTo(event.containerPoint) < 3) return;
      points.push(event.latlng);
      draw();
    }

    function set(on) {
      press(button, on);
      bar.hidden = !on;
      document.body.classList.toggle("measuring", on);
      map.doubleClickZoom[on ? "disable" : "enable"]();
      map.closePopup();
      map[on ? "on" : "off"]("click", add);
      points = [];
      draw();
      [area, line, dots].forEach((layer) => (on ? layer.addTo(map) : layer.remove()));
    }

    button.addEventListener("click", () => set(bar.hidden));
    byId("measure-done").addEventListener("click", () => set(false));
    byId("measure-clear").addEventListener("click", () => { points = []; draw(); });
    byId("measure-undo").addEventListener("click", () => { points.pop(); draw(); });
    document.addEventListener("keydown", (event) => {
      if (bar.hidden) return;
      if (event.key === "Escape") set(false);
      if (event.key === "Backspace") { points.pop(); draw(); }
    });
  }

  // ---- own position
  function ownPosition() {
    const button = byId("tool-place");
    const circle = L.circle([0, 0], { radius: 1, color: "#00695c", weight: 1, fillOpacity: 0.1, interactive: false });
    const dot = L.circleMarker([0, 0], { radius: 7, color: "#ffffff", weight: 2, fillColor: "#00695c", fillOpacity: 1, interactive: false });
    let first = true;
    const off = () => {
      map.stopLocate();
      circle.remove();
      dot.remove();
      press(button, false);
    };
    button.addEventListener("click", () => {
      if (button.getAttribute("aria-pressed") === "true") {
        off();
        say("");
        return;
      }
      press(button, true);
      first = true;
      say("Looking for your position …");
      map.locate({ watch: true, enableHighAccuracy: true });
    });
    map.on("locationfound", (event) => {
      circle.setLatLng(event.latlng).setRadius(event.accuracy).addTo(map);
      dot.setLatLng(event.latlng).addTo(map);
      say(`You are within ${lengthText(event.accuracy)} of the dot. Do not dig by it.`);
      if (first) map.setView(event.latlng, Math.max(map.getZoom(), 18));
      first = false;
    });
    map.on("locationerror", () => {
      off();
      say("The browser gives no position here.");
    });
  }

  return { stationReader, measureTool, ownPosition };
};
