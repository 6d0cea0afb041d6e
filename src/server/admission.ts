/** Who may ask what: decided from the request line and headers alone, before anything is done. */

export type RouteName = 'page' | 'events' | 'state' | 'picture' | 'pair' | 'nudge' | 'moved' | 'screen';

interface Route {
  readonly name: RouteName;
  readonly method: 'GET' | 'POST';
  /** Needs a paired browser. */
  readonly paired: boolean;
}

/** Every path there is. A path is compared whole; nothing of it ever reaches the disk. */
const ROUTES: Readonly<Record<string, Route>> = {
  '/': { name: 'page', method: 'GET', paired: false },
  '/events': { name: 'events', method: 'GET', paired: true },
  '/state': { name: 'state', method: 'GET', paired: true },
  '/picture.jpg': { name: 'picture', method: 'GET', paired: true },
  '/pair': { name: 'pair', method: 'POST', paired: false },
  '/nudge': { name: 'nudge', method: 'POST', paired: true },
  '/moved': { name: 'moved', method: 'POST', paired: true },
  '/screen': { name: 'screen', method: 'POST', paired: true },
};

export interface Asked {
  readonly method: string;
  /** As sent. */
  readonly target: string;
  /** Every Host header there was. */
  readonly hosts: readonly string[];
  readonly origin: string | undefined;
  readonly contentType: string | undefined;
  /** Sec-Fetch-Site, where the browser tells. */
  readonly site: string | undefined;
  /** Whether the cookie is that of a paired browser. */
  readonly paired: boolean;
  /** Address and port of this end of the connection. */
  readonly localAddress: string;
  readonly localPort: number;
}

export type Admission =
  | { readonly admitted: true; readonly route: RouteName; readonly head: boolean }
  | { readonly admitted: false; readonly status: number; readonly why: string; readonly allow?: string };

const refuse = (status: number, why: string, allow?: string): Admission => ({
  admitted: false,
  status,
  why,
  ...(allow !== undefined && { allow }),
});

/** Decides one request. The Host is looked at first: a name that leads here by a foreign DNS answer gets nothing at all. */
export function admit(asked: Asked): Admission {
  const [host, ...more] = asked.hosts;
  if (host === undefined || more.length > 0) return refuse(400, 'exactly one Host header is needed');
  if (!hostsOf(asked).includes(host.toLowerCase())) return refuse(421, 'this name is not ours');
  const route = Object.hasOwn(ROUTES, asked.target) ? ROUTES[asked.target] : undefined;
  if (route === undefined) return refuse(404, 'no such page');
  const head = asked.method === 'HEAD' && route.method === 'GET';
  if (asked.method !== route.method && !head)
    return refuse(405, 'not this method', route.method === 'GET' ? 'GET, HEAD' : 'POST');
  const ours = asked.origin === `http://${host.toLowerCase()}`;
  if (route.method === 'POST' && !ours) return refuse(403, 'only our own page may ask this');
  // A foreign page may open ours by a link, and read nothing else.
  if (route.name !== 'page' && asked.origin !== undefined && !ours)
    return refuse(403, 'only our own page may ask this');
  if (route.name !== 'page' && asked.site !== undefined && !SAME_SITES.includes(asked.site))
    return refuse(403, 'only our own page may ask this');
  if (route.paired && !asked.paired) return refuse(401, 'this browser is not paired');
  if (route.method === 'POST' && !/^application\/json(\s*;\s*charset=utf-8)?$/i.test(asked.contentType ?? ''))
    return refuse(415, 'JSON is needed');
  return { admitted: true, route: route.name, head };
}

/** Fetch Metadata: our own page, or the person's own typing. */
const SAME_SITES = ['same-origin', 'none'];

/** Names this end of the connection goes by. An address cannot be rebound: only the one that was really reached counts. */
function hostsOf({ localAddress, localPort }: Asked): string[] {
  const address = plainAddress(localAddress);
  const names = [address.includes(':') ? `[${address}]` : address, ...(isLoopback(address) ? ['localhost'] : [])];
  return names.flatMap((name) => (localPort === 80 ? [name, `${name}:80`] : [`${name}:${localPort}`]));
}

/** An IPv4 address that came over an IPv6 socket, as IPv4; without a zone. */
export function plainAddress(address: string): string {
  return address
    .replace(/^::ffff:(?=\d+\.)/i, '')
    .replace(/%.*$/, '')
    .toLowerCase();
}

export const isLoopback = (address: string): boolean => address === '::1' || address.startsWith('127.');
