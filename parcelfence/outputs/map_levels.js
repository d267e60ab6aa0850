// The levels of the transmitter: contours of one field, switched by a slider.
const parcelLevels = (map, { data, layers, restack }) => {
  const byId = (id) => document.getElementById(id);
  const slider = byId("level");
  const zones = ["zones-signal", "zones-roam", "zones-core", "zones-indoors"];
  const planned = Object.fromEntries(zones.map((key) => [key, layers[key]]));
  const made = new Map();

  // Steps in whole parts of a degree, longitude and latitude by turns.
  function ring(steps) {
    const places = [];
    let [x, y] = [0, 0];
    for (let k = 0; k < steps.length; k += 2) {
      x += steps[k];
      y += steps[k + 1];
      places.push([data.origin[1] + y / 1e7, data.origin[0] + x / 1e7]);
    }
    return places;
  }

  function drawn(place) {
    if (!made.has(place)) {
      const zone = (kind) => L.polygon(data.levels[place][kind].map((rings) => rings.map(ring)), { ...data.looks[kind], interactive: false });
      made.set(place, { "zones-signal": [zone("signal")], "zones-roam": [zone("roam")] });
    }
    return made.get(place);
  }

  function isShown(key) {
    const box = document.querySelector(`input[data-layer="${key}"]`);
    return !box || box.checked;
  }

  function show(place) {
    const level = data.levels[place];
    const wanted = level.own ? planned : drawn(place);
    zones.forEach((key) => {
      (layers[key] || []).forEach((layer) => layer.remove());
      layers[key] = wanted[key] || [];
      if (isShown(key)) layers[key].forEach((layer) => layer.addTo(map));
    });
    restack();
    byId("level-name").textContent = level.own ? `${level.reach}, as planned` : level.reach;
    slider.setAttribute("aria-valuetext", `${level.reach}, ${level.free} free to roam`);
    byId("level-free").textContent = level.free;
    [["level-lot", "lot"], ["level-house", "house"]].forEach(([id, key]) => {
      byId(id).innerHTML = level[key]; // escaped by the writer of the page
      byId(id).classList.toggle("crosses", level[key] !== "nowhere");
    });
  }

  slider.addEventListener("input", () => show(Number(slider.value)));
  slider.value = data.levels.findIndex((level) => level.own);
  show(Number(slider.value));
  window.parcelLevel = { layers, show };
};
