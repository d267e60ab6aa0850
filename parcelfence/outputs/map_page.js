// The map sheet: popups, layers, conflicts, the drawer, printing.
const parcelSheet = (() => {
  const conflicts = new Map(); // number in the list -> { key, marker, bounds }
  const stacked = new Map(); // place -> badges that lie on it
  const byId = (id) => document.getElementById(id);
  const still = () => matchMedia("(prefers-reduced-motion: reduce)").matches;
  const narrow = () => matchMedia("(max-width: 760px)").matches;
  let data = { labels: {}, titles: {} };

  // Titles and values come escaped from the writer of the page.
  function popup(key, properties) {
    const box = document.createElement("div");
    box.className = `words words-${key}`;
    const kicker = data.titles[key] ? `<p class="severity">${data.titles[key]}</p>` : "";
    const rows = (data.labels[key] || [])
      .map((label, place) => [label, properties.v[place]])
      .filter(([, value]) => value)
      .map(([label, value]) => `<dt>${label}</dt><dd><bdi>${value}</bdi></dd>`);
    box.innerHTML = `${kicker}<h3><bdi>${properties.t}</bdi></h3><dl>${rows.join("")}</dl>`;
    return box;
  }

  // Called by each drawn layer for each of its features.
  function describe(key) {
    return (feature, layer) => {
      const properties = feature.properties;
      layer.bindPopup(() => popup(key, properties), {
        maxWidth: 290, minWidth: 190,
        autoPanPaddingTopLeft: [14, narrow() ? 70 : 14], autoPanPaddingBottomRight: [narrow() ? 14 : 72, 14],
      });
      if (properties.label) {
        layer.bindTooltip(properties.label, { permanent: true, pane: "shadowPane", direction: "right", offset: [4, 0], className: "station" });
      }
      if ("n" in properties) register(key, properties.n, layer);
    };
  }

  function register(key, number, layer) {
    const found = conflicts.get(number) || { key, marker: null, shapes: [], bounds: L.latLngBounds([]) };
    conflicts.set(number, found);
    found.bounds.extend(layer.getLatLng ? layer.getLatLng() : layer.getBounds());
    if (layer.getLatLng && !found.marker) badge(found, layer);
    else found.shapes.push(layer);
  }

  function badge(found, marker) {
    found.marker = marker;
    const reveal = (on) => found.shapes.forEach((shape) => {
      if (!shape.setStyle) return;
      shape.setStyle({ stroke: on, fill: on && shape instanceof L.Polygon });
      if (on && shape._map) shape.bringToFront();
    });
    marker.on("popupopen", () => reveal(true)).on("popupclose remove", () => reveal(false));
    if (marker.setStyle) marker.setStyle({ stroke: true, fill: true, fillOpacity: 0.9, weight: 2 });
    const place = marker.getLatLng();
    const spot = `${place.lat.toFixed(6)} ${place.lng.toFixed(6)}`;
    const rank = stacked.get(spot) || 0;
    stacked.set(spot, rank + 1);
    if (rank && marker.options.icon) marker.on("add", () => { marker._icon.style.translate = `${rank * 16}px 0`; });
  }

  // A wider line under each line that needs to stand off its ground.
  function addHalos(map, layers) {
    Object.entries(data.halos).forEach(([key, look]) => {
      const lines = layers[key][0].getLayers().filter((layer) => layer instanceof L.Polyline && !(layer instanceof L.Polygon));
      if (lines.length) layers[key].unshift(L.featureGroup(lines.map((line) => L.polyline(line.getLatLngs(), look))).addTo(map));
    });
    restack(map, layers);
  }

  function restack(map, layers) {
    Object.values(layers).flat().forEach((layer) => { if (map.hasLayer(layer)) layer.bringToFront(); });
  }

  function say(text) {
    byId("message").textContent = text;
  }

  function press(button, on) {
    button.setAttribute("aria-pressed", String(on));
  }

  // ---- layers
  function layerSwitches(map, layers) {
    const boxes = [...document.querySelectorAll("input[data-layer]")];
    boxes.forEach((box) => {
      box.checked = true;
      box.addEventListener("change", () => {
        layers[box.dataset.layer].forEach((layer) => (box.checked ? layer.addTo(map) : layer.remove()));
        if (box.checked) restack(map, layers);
      });
    });
    return (key) => {
      const box = boxes.find((candidate) => candidate.dataset.layer === key);
      if (box && !box.checked) box.click();
    };
  }

  // ---- conflicts
  function conflictList(map, show) {
    const list = byId("conflict-list");
    if (!list) return;
    list.addEventListener("click", (event) => {
      const button = event.target.closest("button[data-conflict]");
      if (button) fly(map, Number(button.dataset.conflict), { show, button });
    });
  }

  function fly(map, number, { show, button }) {
    const found = conflicts.get(number);
    if (!found) return;
    show(found.key);
    document.querySelectorAll("#conflict-list [aria-current]").forEach((old) => old.removeAttribute("aria-current"));
    button.setAttribute("aria-current", "true");
    if (narrow()) openSheet(map, false);
    map.closePopup();
    const place = found.marker.getLatLng();
    const zoom = Math.min(map.getBoundsZoom(found.bounds.pad(0.5)), 20.5);
    const open = () => {
      found.marker.openPopup();
      byId("announce").textContent = `On the map: ${button.innerText}`;
    };
    if (still()) {
      map.setView(place, zoom, { animate: false });
      open();
    } else {
      map.once("moveend", open);
      map.flyTo(place, zoom, { duration: 0.8 });
    }
  }

  // ---- sheet, scale, printing
  function openSheet(map, open) {
    document.body.classList.toggle("sheet-closed", !open);
    byId("sheet-toggle").setAttribute("aria-expanded", String(open));
    byId("sheet-toggle").querySelector(".narrow-only").textContent = open ? "Map" : "Details";
    map.invalidateSize({ animate: false });
  }

  function printing(map, whole) {
    let view = null;
    const begin = () => {
      if (view) return;
      view = { center: map.getCenter(), zoom: map.getZoom() };
      const bounds = map.getBounds();
      document.documentElement.classList.add("printing");
      map.closePopup();
      map.invalidateSize({ animate: false });
      map.options.zoomSnap = 0;
      map.fitBounds(bounds.contains(data.bounds) ? data.bounds : bounds, { animate: false, padding: [6, 6] });
      map.options.zoomSnap = 0.25;
    };
    const end = () => {
      if (!view) return;
      document.documentElement.classList.remove("printing");
      map.invalidateSize({ animate: false });
      map.setView(view.center, view.zoom, { animate: false });
      view = null;
    };
    addEventListener("beforeprint", begin);
    addEventListener("afterprint", end);
    matchMedia("print").addEventListener("change", (change) => (change.matches ? begin() : end()));
    byId("tool-print").addEventListener("click", () => print());
    byId("tool-whole").addEventListener("click", whole);
  }

  function nearness(map) {
    const metresPerPixel = (360 / (256 * 2 ** map.getZoom())) * data.metresPerDegree[0];
    map.getContainer().classList.toggle("far", metresPerPixel > 0.16);
    map.getContainer().classList.toggle("remote", metresPerPixel > 0.34);
    map.getContainer().classList.toggle("near", metresPerPixel < 0.08);
  }

  // What covers the ground gives way to a picture of it.
  function seeThrough(layers, on) {
    ["parcel", "water", "hardscape", "roads", "buildings"].flatMap((key) => layers[key] || []).forEach((layer) => {
      if (on) layer.setStyle({ fillOpacity: 0.12 });
      else layer.resetStyle();
    });
  }

  function onlineTiles(map, layers) {
    const button = byId("tool-tiles");
    if (!data.tiles) return;
    button.hidden = false;
    let layer = null;
    button.addEventListener("click", () => {
      const on = !layer || !map.hasLayer(layer);
      layer = layer || L.tileLayer(data.tiles, { maxNativeZoom: 19, maxZoom: 24, attribution: "© OpenStreetMap contributors" });
      if (on) layer.addTo(map);
      else layer.remove();
      press(button, on);
      seeThrough(layers, on || data.picture);
      say(on ? "Background: © OpenStreetMap contributors" : "");
    });
  }

  function start(map, layers, given) {
    data = given;
    window.parcelMap = map;
    const metric = data.units.system === "metric";
    L.control.scale({ position: "bottomleft", metric, imperial: !metric, maxWidth: 140 }).addTo(map);
    const whole = () => map.fitBounds(data.bounds, { padding: [18, 18], animate: !still() });
    openSheet(map, !narrow());
    map.fitBounds(data.bounds, { padding: [18, 18], animate: false });
    map.on("zoomend", () => nearness(map));
    nearness(map);
    addHalos(map, layers);
    const show = layerSwitches(map, layers);
    conflictList(map, show);
    parcelLevels(map, { data, layers, restack: () => restack(map, layers) });
    const tools = parcelTools(map, { data, layers, still, press, say, makeRoom: () => narrow() && openSheet(map, false) });
    tools.stationReader();
    tools.measureTool();
    tools.ownPosition();
    printing(map, whole);
    onlineTiles(map, layers);
    if (data.picture) seeThrough(layers, true);
    byId("tool-in").addEventListener("click", () => map.zoomIn(1));
    byId("tool-out").addEventListener("click", () => map.zoomOut(1));
    byId("sheet-toggle").addEventListener("click", () => openSheet(map, document.body.classList.contains("sheet-closed")));
    document.querySelectorAll("#sheet nav button").forEach((button) => button.addEventListener("click", () => {
      document.querySelector(`#sheet .${button.dataset.part}`).scrollIntoView({ behavior: still() ? "auto" : "smooth" });
    }));
    document.body.classList.add("ready");
  }

  return { describe, start };
})();
