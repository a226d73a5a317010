/*
 * Reads a code with the camera. The browser's own detector is used where it knows both kinds of code
 * on the shop's labels, else the decoder that comes with the shop. Where the browser gives no live
 * picture, which it does over https only, a photo is taken instead and read here.
 */
"use strict";

const Camera = (() => {
  const FORMATS = ["QRCode", "MicroQRCode", "DataMatrix", "Code128", "Code39", "EAN13", "EAN8", "UPCA", "UPCE", "ITF"];
  const OWN_FORMATS = ["qr_code", "data_matrix"];
  const LOOK_MS = 120;
  let reader = null;

  /* Return a function from a picture to what codes on it say. */
  async function decoder(parts) {
    if (reader) return reader;
    reader = (await native()) || (await shipped(parts));
    return reader;
  }

  async function native() {
    if (!("BarcodeDetector" in window)) return null;
    const known = await BarcodeDetector.getSupportedFormats();
    if (!OWN_FORMATS.every((format) => known.includes(format))) return null;
    const detector = new BarcodeDetector({ formats: known.filter((format) => format !== "unknown") });
    return async (canvas) => (await detector.detect(canvas)).map((code) => code.rawValue);
  }

  async function shipped({ decoder: script, wasm, load }) {
    if (!window.ZXingWASM) await load(script);
    ZXingWASM.prepareZXingModule({ overrides: { locateFile: () => wasm } });
    const options = { formats: FORMATS, tryHarder: true, tryRotate: true, tryInvert: true, maxNumberOfSymbols: 6 };
    return async (canvas) => {
      const picture = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
      const codes = await ZXingWASM.readBarcodes(picture, options);
      // A scanner tells GS1 data by the mark of its symbol; the camera does the same.
      return codes.filter((code) => code.isValid).map((code) => (code.contentType === "GS1" ? code.symbologyIdentifier + new TextDecoder().decode(code.bytes) : code.text));
    };
  }

  /* Of several codes on one label: the supplier's data for goods, the shop's own label elsewhere. */
  function best(texts, goods) {
    const supplier = texts.filter((text) => text.startsWith("]"));
    const rest = texts.filter((text) => !text.startsWith("]"));
    return (goods ? [...supplier, ...rest] : [...rest, ...supplier])[0] || null;
  }

  async function readPicture(source, width, height, parts, goods) {
    const canvas = document.createElement("canvas");
    const scale = Math.min(1, 1600 / Math.max(width, height));
    [canvas.width, canvas.height] = [Math.round(width * scale), Math.round(height * scale)];
    canvas.getContext("2d", { willReadFrequently: true }).drawImage(source, 0, 0, canvas.width, canvas.height);
    return best(await (await decoder(parts))(canvas), goods);
  }

  /* Return what the camera reads, or null when the person closes it. */
  function read({ goods, ...parts }) {
    return navigator.mediaDevices && navigator.mediaDevices.getUserMedia ? live(parts, goods) : photo(parts, goods);
  }

  async function live(parts, goods) {
    const dialog = document.createElement("dialog");
    dialog.className = "camera";
    const video = Object.assign(document.createElement("video"), { playsInline: true, muted: true });
    const words = Object.assign(document.createElement("p"), { textContent: "Hold the code in the picture." });
    words.setAttribute("role", "status");
    const close = Object.assign(document.createElement("button"), { type: "button", textContent: "Close the camera" });
    dialog.append(video, words, close);
    document.body.append(dialog);
    let over = false;
    close.addEventListener("click", () => dialog.close());
    dialog.addEventListener("close", () => { over = true; });
    dialog.showModal();
    let stream = null;
    try {
      stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment", width: { ideal: 1280 }, height: { ideal: 720 } } });
      video.srcObject = stream;
      await video.play();
      while (!over) {
        const text = await readPicture(video, video.videoWidth, video.videoHeight, parts, goods);
        if (text) { if (navigator.vibrate) navigator.vibrate(60); return text; }
        await new Promise((done) => setTimeout(done, LOOK_MS));
      }
      return null;
    } finally {
      if (stream) for (const track of stream.getTracks()) track.stop();
      if (dialog.open) dialog.close();
      dialog.remove();
    }
  }

  function photo(parts, goods) {
    const field = Object.assign(document.createElement("input"), { type: "file", accept: "image/*" });
    field.setAttribute("capture", "environment");
    return new Promise((done, failed) => {
      field.addEventListener("cancel", () => done(null));
      field.addEventListener("change", async () => {
        try {
          const picture = await createImageBitmap(field.files[0]);
          const text = await readPicture(picture, picture.width, picture.height, parts, goods);
          if (text) done(text);
          else failed(new Error("there is no readable code on the photo; go closer and hold still"));
        } catch (error) {
          failed(error);
        }
      });
      field.click();
    });
  }

  return { read, readPicture };
})();
