// Both stories of an ordering system, as a program of its own would tell them: it must compile.

import type { components, paths } from "./shop";

type Schemas = components["schemas"];
type Path = keyof paths;
type Method = "get" | "post" | "patch";

type Operation<P extends Path, M extends Method> = NonNullable<paths[P][M]>;
type Sent<O> = O extends { requestBody?: { content: { "application/json": infer B } } } ? B : never;
type Said<O> = O extends { responses: infer R }
  ? { [S in keyof R & (200 | 201)]: R[S] extends { content: { "application/json": infer B } } ? B : never }[keyof R & (200 | 201)]
  : never;

class Refused extends Error {
  constructor(readonly problem: Schemas["Problem"]) {
    super(problem.detail);
  }
}

class Shop {
  constructor(private readonly url: string, private readonly token: string) {}

  async call<P extends Path, M extends Method>(
    method: M,
    path: P,
    options: { at?: Record<string, string>; query?: Record<string, string>; body?: Sent<Operation<P, M>>; etag?: string } = {},
  ): Promise<Said<Operation<P, M>>> {
    let address: string = path;
    for (const [name, value] of Object.entries(options.at ?? {})) {
      address = address.replace(`{${name}}`, encodeURIComponent(value));
    }
    const query = new URLSearchParams(options.query).toString();
    const headers: Record<string, string> = { Authorization: `Bearer ${this.token}` };
    if (options.body !== undefined) headers["Content-Type"] = "application/json";
    if (method === "post") headers["Idempotency-Key"] = crypto.randomUUID();
    if (options.etag !== undefined) headers["If-Match"] = options.etag;
    const answer = await fetch(`${this.url}${address}${query && `?${query}`}`, {
      method: method.toUpperCase(), headers, body: JSON.stringify(options.body),
    });
    if (!answer.ok) throw new Refused((await answer.json()) as Schemas["Problem"]);
    return (await answer.json()) as Said<Operation<P, M>>;
  }
}

export async function order(shop: Shop, system: string): Promise<string[]> {
  const placed: Schemas["ToolOrder"] = await shop.call("post", "/api/v1/tool-orders", {
    body: {
      tool_code: "TS-1", route: "single", customer_reference: "TS-1", due_on: "2027-01-29",
      pours: [{ half: "A", system, length_mm: "200", width_mm: "120", depth_mm: "30" }],
    },
  });
  const at = { id: placed.id };
  const moved = await shop.call("patch", "/api/v1/tool-orders/{id}", {
    at, etag: placed.etag, body: { due_on: "2027-02-05" },
  });
  const gone = await shop.call("post", "/api/v1/tool-orders/{id}/cancellations", {
    at: { id: moved.id }, body: { reason: "not wanted" },
  });
  const status: "open" | "done" | "cancelled" = gone.status;
  const feed = await shop.call("get", "/api/v1/events", { query: { customer_reference: "TS-1" } });
  return [status, ...feed.items.map((event) => `${event.data.sequence} ${event.type}`)];
}

export async function buy(shop: Shop): Promise<string> {
  const run = await shop.call("post", "/api/v1/purchase-proposals", { body: { days: 30 } });
  const first = run.items[0];
  if (first === undefined) return "nothing to buy";
  const order = await shop.call("post", "/api/v1/purchase-proposals/{id}/approvals", { at: { id: first.id } });
  const line = order.lines[0];
  if (line === undefined) return order.number;
  const received = await shop.call("post", "/api/v1/purchase-orders/{id}/receipts", {
    at: { id: order.id },
    body: { goods: [{ line: line.id, lot_code: "TS-LOT", containers: [{ quantity: line.content }] }] },
  });
  return received.status;
}

export { Refused, Shop };
