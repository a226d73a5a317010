// A pattern to turn, drawn without a graphics card and without anything from elsewhere.
// The pictures from the server stay above it; without this script they are all there is.
(function () {
  "use strict";
  var WIDE = 640, HIGH = 480, TURN = 0.12, LEAST = 0.4, MOST = 6;

  function read(data) {
    var head = new DataView(data), count = head.getUint32(0, true);
    return {
      count: count,
      corners: new Int16Array(data, 16, count * 9),
      sorts: new Uint8Array(data, 16 + count * 18, count),
    };
  }

  function rgb(text) {
    var n = parseInt(text.slice(1), 16);
    return [n >> 16, (n >> 8) & 255, n & 255];
  }

  function Viewer(figure, solid) {
    var canvas = figure.querySelector("canvas"), pen = canvas.getContext("2d");
    var colours = figure.dataset.colours.split(" ").map(rgb);
    var hatches = figure.dataset.hatches.split(" ");
    var picture = pen.createImageData(WIDE, HIGH), near = new Float32Array(WIDE * HIGH);
    var eye = { turn: 0.6, tip: 0.55, zoom: 1 }, waiting = false;
    var at = new Float32Array(solid.count * 9);

    function place() {
      var ct = Math.cos(eye.turn), st = Math.sin(eye.turn), cp = Math.cos(eye.tip), sp = Math.sin(eye.tip);
      var scale = (HIGH / 1.75 / 65534) * eye.zoom, c = solid.corners;
      for (var i = 0; i < c.length; i += 3) {
        var x = c[i] * ct - c[i + 1] * st, y = c[i] * st + c[i + 1] * ct, z = c[i + 2];
        at[i] = WIDE / 2 + x * scale;
        at[i + 1] = HIGH / 2 - (y * sp + z * cp) * scale;
        at[i + 2] = z * sp - y * cp;
      }
    }

    function hatched(kind, x, y) {
      if (kind === "diagonal") return (x + y) % 9 < 3;
      if (kind === "back") return (x - y + 9000) % 9 < 3;
      if (kind === "level") return y % 8 < 2;
      if (kind === "dots") return x % 8 < 3 && y % 8 < 3;
      return false;
    }

    function fill(n, to) {
      var i = n * 9, ax = at[i], ay = at[i + 1], az = at[i + 2], bx = at[i + 3], by = at[i + 4], bz = at[i + 5];
      var cx = at[i + 6], cy = at[i + 7], cz = at[i + 8];
      var area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax);
      if (Math.abs(area) < 1e-6) return;
      var left = Math.max(0, Math.ceil(Math.min(ax, bx, cx) - 0.5)), right = Math.min(WIDE - 1, Math.floor(Math.max(ax, bx, cx) + 0.5));
      var top = Math.max(0, Math.ceil(Math.min(ay, by, cy) - 0.5)), foot = Math.min(HIGH - 1, Math.floor(Math.max(ay, by, cy) + 0.5));
      var steep = Math.hypot((by - ay) * (cz - az) - (bz - az) * (cy - ay), (bz - az) * (cx - ax) - (bx - ax) * (cz - az)) * (HIGH / 1.75 / 65534) * eye.zoom;
      var light = 0.45 + 0.55 * (Math.abs(area) / Math.hypot(area, steep));
      var sort = solid.sorts[n], colour = colours[sort] || colours[0], hatch = hatches[sort];
      for (var y = top; y <= foot; y++) {
        for (var x = left; x <= right; x++) {
          var u = ((bx - x) * (cy - y) - (by - y) * (cx - x)) / area, v = ((cx - x) * (ay - y) - (cy - y) * (ax - x)) / area, w = 1 - u - v;
          if (u < -1e-4 || v < -1e-4 || w < -1e-4) continue;
          var depth = u * az + v * bz + w * cz, k = y * WIDE + x;
          if (depth <= near[k]) continue;
          near[k] = depth;
          var shade = hatched(hatch, x, y) ? light * 0.35 : light;
          to[k * 4] = colour[0] * shade;
          to[k * 4 + 1] = colour[1] * shade;
          to[k * 4 + 2] = colour[2] * shade;
          to[k * 4 + 3] = 255;
        }
      }
    }

    function draw() {
      waiting = false;
      place();
      near.fill(-Infinity);
      picture.data.fill(0);
      for (var n = 0; n < solid.count; n++) fill(n, picture.data);
      pen.putImageData(picture, 0, 0);
      canvas.dataset.drawn = [eye.turn, eye.tip, eye.zoom].map(function (one) { return one.toFixed(2); }).join(" ");
    }

    function move(turn, tip, zoom) {
      eye.turn += turn;
      eye.tip = Math.max(-1.57, Math.min(1.57, eye.tip + tip));
      eye.zoom = Math.max(LEAST, Math.min(MOST, eye.zoom * zoom));
      if (!waiting) { waiting = true; requestAnimationFrame(draw); }
    }

    var moves = {
      ArrowLeft: [TURN, 0, 1], ArrowRight: [-TURN, 0, 1], ArrowUp: [0, TURN, 1], ArrowDown: [0, -TURN, 1],
      "+": [0, 0, 1.2], "=": [0, 0, 1.2], "-": [0, 0, 1 / 1.2],
    };
    canvas.addEventListener("keydown", function (event) {
      var way = moves[event.key];
      if (!way || event.ctrlKey || event.altKey || event.metaKey) return;
      event.preventDefault();
      move.apply(null, way);
    });
    figure.querySelectorAll("[data-way]").forEach(function (button) {
      button.addEventListener("click", function () { move.apply(null, moves[button.dataset.way]); });
    });
    canvas.addEventListener("pointermove", function (event) {
      if (event.buttons & 1) move(-event.movementX / 120, event.movementY / 120, 1);
    });
    draw();
  }

  function open(root) {
    root.querySelectorAll("[data-solid]").forEach(function (figure) {
      if (figure.dataset.opened) return;
      figure.dataset.opened = "yes";
      fetch(figure.dataset.solid, { credentials: "same-origin" }).then(function (answer) {
        if (!answer.ok) return null;
        return answer.arrayBuffer();
      }).then(function (data) {
        if (!data) return;
        figure.hidden = false;
        Viewer(figure, read(data));
      }).catch(function () { figure.hidden = true; });
    });
  }

  open(document);
  document.addEventListener("htmx:load", function (event) { open(event.target); });
})();
