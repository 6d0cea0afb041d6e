import type { Server } from 'node:http';
import type { Socket } from 'node:net';
import { plainAddress } from './admission.ts';

/** Open connections at once: a few people's phones need far fewer. */
export const MOST_CONNECTIONS = 96;
/** Streams of paired browsers that are kept whatever else connects. */
const MOST_STREAMS = 32;

/**
 * Keeps the number of connections small without locking anybody out: where there are too many, the oldest one that is no
 * paired browser's stream is closed, of the address that holds most.
 */
export class Connections {
  readonly #open = new Map<Socket, string>();
  readonly #streams = new Set<Socket>();

  constructor(server: Server) {
    server.on('connection', (socket: Socket) => {
      this.#open.set(socket, plainAddress(socket.remoteAddress ?? ''));
      socket.on('close', () => {
        this.#open.delete(socket);
        this.#streams.delete(socket);
      });
      if (this.#open.size > MOST_CONNECTIONS) this.#victim()?.destroy();
    });
  }

  /** A paired browser listens on this one. */
  keep(socket: Socket): void {
    this.#streams.add(socket);
    if (this.#streams.size <= MOST_STREAMS) return;
    const [oldest] = this.#streams;
    oldest?.destroy();
  }

  closeAll(): void {
    for (const socket of this.#open.keys()) socket.destroy();
  }

  #victim(): Socket | undefined {
    const held = new Map<string, Socket[]>();
    for (const [socket, address] of this.#open) {
      if (this.#streams.has(socket) || socket.destroyed) continue;
      held.set(address, [...(held.get(address) ?? []), socket]);
    }
    let most: Socket[] = [];
    for (const sockets of held.values()) if (sockets.length > most.length) most = sockets;
    return most[0];
  }
}
