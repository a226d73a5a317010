/* Keep this page on the device from its first opening on, so that it opens again without a network. */
"use strict";

const Keeping = (() => {
  const STORE = "shop-pages-1";

  async function keep(keeper) {
    if (!("serviceWorker" in navigator)) return;
    try {
      await navigator.serviceWorker.register(keeper);
      await navigator.serviceWorker.ready;
      // The page came before its keeper did: what it is drawn with is put by once more, all of it.
      const store = await caches.open(STORE);
      const parts = [...document.querySelectorAll("script[src], link[rel=stylesheet], link[rel=icon]")].map((node) => node.src || node.href);
      const wanted = [location.pathname, ...parts];
      const missing = [];
      for (const address of wanted) if (!(await store.match(address, { ignoreVary: true }))) missing.push(address);
      if (missing.length) await store.addAll(missing);
      document.documentElement.dataset.kept = "yes";
    } catch {
      // Without a keeper, or without a network by now, the page goes on as any other.
    }
  }

  return { keep };
})();
