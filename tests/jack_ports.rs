//! Our inputs over a real JACK server.

#[path = "common/jackd.rs"]
mod jackd;

use std::sync::mpsc::channel;
use std::thread::sleep;
use std::time::Duration;

use jackd::{Keyboard, PATIENCE, Server, eventually, with_server};
use peregrinus::midi::{Connection, PortError, PortInfo, Ports, system};

type Heard = std::sync::mpsc::Receiver<Vec<u8>>;

fn open(ports: &mut dyn Ports, port: &PortInfo) -> (Box<dyn Connection>, Heard) {
    let (sink, heard) = channel();
    let connection = ports
        .open(port, Box::new(move |b| drop(sink.send(b.to_vec()))))
        .unwrap();
    (connection, heard)
}

/// Waits until the note comes; what else comes before is lost.
fn hear(heard: &Heard, note: [u8; 3]) {
    loop {
        let bytes = heard.recv_timeout(PATIENCE).expect("the note arrives");
        if bytes == note {
            return;
        }
    }
}

#[test]
fn listing_and_playing() {
    with_server("listing_and_playing", true, |_| {
        let mut ports = system("peregrinus");
        assert_eq!(ports.list(), Ok(vec![]));
        let keyboard = Keyboard::new("keyboard");
        eventually("the port is told", || ports.changed() == Some(true));
        let list = ports.list().unwrap();
        let name = "keyboard:out".to_string();
        assert_eq!(
            list,
            [PortInfo {
                id: name.clone(),
                name
            }]
        );
        let (connection, heard) = open(&mut *ports, &list[0]);
        let inputs =
            keyboard
                .client
                .as_client()
                .ports(None, Some("midi"), jack::PortFlags::IS_INPUT);
        assert_eq!(inputs, ["peregrinus:in"]);
        assert_eq!(connection.alive(), Some(true));
        for key in 0..100 {
            keyboard.send.send([0x90, key, 1]).unwrap();
        }
        for key in 0..100 {
            let bytes = heard.recv_timeout(PATIENCE).unwrap();
            assert_eq!(bytes, [0x90, key, 1]);
        }
        // Our own coming and going is no news, nor are our ports inputs to choose from.
        drop(connection);
        let (connection, _heard) = open(&mut *ports, &list[0]);
        sleep(Duration::from_millis(100));
        assert_eq!(ports.changed(), Some(false));
        assert_eq!(ports.list().unwrap(), list);
        // Others'  is, and leaves our connection alone.
        let other = Keyboard::new("other");
        eventually("the other port is told", || ports.changed() == Some(true));
        assert_eq!(ports.list().unwrap().len(), 2);
        other.unplug();
        eventually("its end is told", || ports.changed() == Some(true));
        assert_eq!(connection.alive(), Some(true));
        let gone = PortInfo {
            name: "other:out".into(),
            id: "other:out".into(),
        };
        let error = ports.open(&gone, Box::new(|_| ())).err();
        assert_eq!(
            error,
            Some(PortError::Gone {
                port: "other:out".into()
            })
        );
    });
}

/// Each time with a note held; the shorter gaps are not to be seen by listing ports.
#[test]
fn unplugged_and_back() {
    with_server("unplugged_and_back", true, |_| {
        let mut ports = system("peregrinus");
        let keyboard = Keyboard::new("keyboard");
        let list = ports.list().unwrap();
        let (mut connection, mut heard) = open(&mut *ports, &list[0]);
        for gap in [
            0, 1, 2, 3, 5, 8, 13, 21, 29, 40, 80, 0, 0, 0, 0, 1, 1, 1, 250, 0,
        ] {
            keyboard.send.send([0x90, 60, 64]).unwrap();
            hear(&heard, [0x90, 60, 64]);
            assert_eq!(connection.alive(), Some(true));
            keyboard.unplug();
            sleep(Duration::from_millis(gap));
            keyboard.plug();
            eventually("the loss is noticed", || connection.alive() == Some(false));
            assert_eq!(connection.alive(), Some(false), "it stays lost");
            eventually("the coming back is told", || ports.changed() == Some(true));
            drop(connection);
            assert_eq!(ports.list().unwrap(), list);
            (connection, heard) = open(&mut *ports, &list[0]);
        }
        // Disconnected by somebody else.
        let other = keyboard.client.as_client();
        other
            .disconnect_ports_by_name("keyboard:out", "peregrinus:in")
            .unwrap();
        eventually("the loss is noticed", || connection.alive() == Some(false));
    });
}

#[test]
fn two_at_once() {
    with_server("two_at_once", true, |_| {
        let keyboard = Keyboard::new("keyboard");
        let (mut one, mut two) = (system("peregrinus"), system("peregrinus"));
        let list = one.list().unwrap();
        let (first, heard_first) = open(&mut *one, &list[0]);
        let (second, heard_second) = open(&mut *two, &list[0]);
        keyboard.send.send([0x90, 60, 64]).unwrap();
        hear(&heard_first, [0x90, 60, 64]);
        hear(&heard_second, [0x90, 60, 64]);
        drop(first);
        sleep(Duration::from_millis(50));
        assert_eq!(second.alive(), Some(true));
    });
}

#[test]
fn the_server_goes_and_comes_back() {
    with_server("the_server_goes_and_comes_back", false, |name| {
        let server = Server::start(name);
        let mut ports = system("peregrinus");
        let keyboard = Keyboard::new("keyboard");
        let list = ports.list().unwrap();
        let (connection, _heard) = open(&mut *ports, &list[0]);
        assert_eq!(connection.alive(), Some(true));
        drop(server);
        eventually("the loss is noticed", || connection.alive() == Some(false));
        assert_eq!(ports.changed(), Some(true));
        assert_eq!(ports.list(), Err(PortError::NoServer));
        assert_eq!(ports.changed(), None);
        drop(keyboard);
        assert_eq!(ports.list(), Err(PortError::NoServer));
        drop(connection);
        assert_eq!(ports.list(), Err(PortError::NoServer));
        let _server = Server::start(name);
        let keyboard = Keyboard::new("keyboard");
        let list = ports.list().unwrap();
        let (connection, heard) = open(&mut *ports, &list[0]);
        keyboard.send.send([0x90, 60, 64]).unwrap();
        hear(&heard, [0x90, 60, 64]);
        assert_eq!(connection.alive(), Some(true));
    });
}

#[test]
fn no_server() {
    with_server("no_server", false, |_| {
        let mut ports = system("peregrinus");
        assert_eq!(ports.list(), Err(PortError::NoServer));
        let port = PortInfo {
            name: "a".into(),
            id: "a:b".into(),
        };
        assert_eq!(
            ports.open(&port, Box::new(|_| ())).err(),
            Some(PortError::NoServer)
        );
        assert_eq!(
            PortError::NoServer.to_string(),
            "no JACK server answers: start one, or use a build without JACK"
        );
    });
}
