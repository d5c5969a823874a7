// Reading a tag's code with the camera, where the browser can; typing it works everywhere.
// <button type="button" data-scan hidden> goes to what the code names; data-scan="id" fills a field.
"use strict";
(function (graftlog) {
  const buttons = document.querySelectorAll("[data-scan]");
  if (!buttons.length || !("BarcodeDetector" in self) || !navigator.mediaDevices?.getUserMedia) return;
  const words = document.getElementById("device").dataset;
  const CODE = /^[A-Z0-9][A-Z0-9.-]{0,19}$/;

  // A tag says an address that ends in /t/CODE, or the code alone.
  graftlog.codeOf = (text) => {
    const last = text.trim().split(/[?#]/)[0].replace(/^.*\/t\//, "").toUpperCase();
    return CODE.test(last) ? last : null;
  };

  async function scan(button) {
    const video = document.createElement("video");
    video.playsInline = true;
    video.muted = true;
    const dialog = document.createElement("dialog");
    dialog.className = "scan";
    const close = document.createElement("button");
    close.type = "button";
    close.textContent = "×";
    close.setAttribute("aria-label", button.dataset.close || "×");
    dialog.append(video, close);
    document.body.append(dialog);
    let stream = null;
    const end = () => { stream?.getTracks().forEach((track) => track.stop()); dialog.remove(); };
    dialog.addEventListener("close", end);
    close.onclick = () => dialog.close();
    try {
      stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
      video.srcObject = stream;
      dialog.showModal();
      await video.play();
      const detector = new BarcodeDetector({ formats: ["qr_code"] });
      while (dialog.open) {
        const codes = (await detector.detect(video)).map((one) => graftlog.codeOf(one.rawValue));
        const code = codes.find(Boolean);
        if (code) { dialog.close(); use(button, code); return; }
        if (codes.length) graftlog.said(words.scanNone);
        await new Promise((next) => requestAnimationFrame(next));
      }
    } catch {
      end();
      graftlog.said(words.scanDenied);
    }
  }

  function use(button, code) {
    const field = button.dataset.scan && document.getElementById(button.dataset.scan);
    if (!field) { location.assign(`/t/${encodeURIComponent(code)}`); return; }
    field.value = code;
    field.dispatchEvent(new Event("input", { bubbles: true }));
    field.focus();
  }

  BarcodeDetector.getSupportedFormats().then((formats) => {
    if (!formats.includes("qr_code")) return;
    buttons.forEach((button) => { button.hidden = false; button.onclick = () => scan(button); });
  }).catch(() => null);
})(self.graftlog);
